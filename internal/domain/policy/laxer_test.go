package policy_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// full is a rule set in which every field says something.
func full(tb testing.TB) policy.RuleSet {
	tb.Helper()
	r := preset(tb)
	source := sampling.Source{Citation: "common practice", VerifiedBy: "L-01", VerifiedIn: "page 3"}
	r.Reprocessing.Steps = slices.Clone(r.Reprocessing.Steps)
	for i := range r.Reprocessing.Steps {
		s := &r.Reprocessing.Steps[i]
		s.AtLeast, s.AtMost, s.Within, s.From, s.AfterFail, s.Required = unit.Minute, unit.Hour, 2*unit.Hour, reprocessing.PointOfUse, reprocessing.CleanAgain, true
		s.OnLate, s.OnFail = "late", "failed"
		s.KeptIn, s.KeptBy, s.KeptReview = "a log", "L-01", "2026-06-30"
		s.Source = source
	}
	r.Reprocessing.Models = map[string][]reprocessing.StepRule{"duodenoscope A": slices.Clone(r.Reprocessing.Steps)}
	r.Reprocessing.Routes[0].Steps = r.Reprocessing.Routes[0].Steps[1:]
	r.Reprocessing.Disinfectants = []reprocessing.Disinfectant{{
		Name: "d", Contact: 5 * unit.Minute, Coldest: 20, Warmest: 30, MEC: true, ReuseDays: 14, Source: source,
	}}
	r.Reprocessing.Cabinets = []reprocessing.Cabinet{{Name: "c", Days: 30, Hours: 12, Source: source}}
	r.Sample.Models = map[string][]sampling.Protocol{"duodenoscope A": {r.Sample.Protocols[0]}}
	r.Sample.Due = []sampling.Rule{{
		When: sampling.Periodic, Risk: scope.HighRisk, Kinds: []scope.Kind{scope.Duodenoscope, scope.Gastroscope}, Uses: 3, Days: 4, Blocks: true, Source: source,
	}}
	r.Meters = &policy.Metering{
		Rules: quality.Rules{
			Use: []quality.Rule{quality.OneTwo}, WarningFirst: true, AcrossLevels: true, Required: []quality.ControlKind{"positive"},
		},
		Holds:  quality.Policy{Every: 8 * unit.Hour},
		Source: source,
	}
	return r
}

// asksNothing are fields that say what a rule is called, where it comes from, or what people are told: a change of them
// asks for as much as before. A digest, and what is filled in from elsewhere, is none of the text.
var asksNothing = []string{
	"Name", "Edition", "Note", "Digest", "Citation", "Verified", "VerifiedBy", "VerifiedIn", "OnLate", "OnFail",
	"Reprocessing.Due", "Reprocessing.Earlier",
}

// Every field of a rule set is compared: to change it is less in one direction at least, also one that is new here and
// that nobody has thought of.
func TestEveryFieldOfTheRulesIsCompared(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	walk(reflect.TypeFor[policy.RuleSet](), "", func(path string) { seen[path] = true })
	changed := map[string]bool{}
	base := full(t)
	for _, path := range leaves(reflect.ValueOf(&base).Elem()) {
		then, now := full(t), full(t)
		if !change(at(reflect.ValueOf(&now).Elem(), path)) {
			t.Errorf("%s cannot be changed", strings.Join(path, "."))
			continue
		}
		name := plainPath(path)
		changed[name] = true
		less := len(policy.Laxer(then, now)) > 0 || len(policy.Laxer(now, then)) > 0
		if nothing := asks(name); less == nothing {
			t.Errorf("%s: less is %v, it asks for nothing is %v", name, less, nothing)
		}
	}
	for path := range seen {
		if !changed[path] && !asks(path) {
			t.Errorf("%s was not changed: give it a value in full", path)
		}
	}
	if len(changed) < 60 {
		t.Errorf("only %d fields", len(changed))
	}
}

// asks says whether a field asks for nothing.
func asks(name string) bool {
	last := name[strings.LastIndexByte(name, '.')+1:]
	return slices.ContainsFunc(asksNothing, func(x string) bool {
		if strings.Contains(x, ".") {
			return name == x || strings.HasPrefix(name, x+".")
		}
		// The names of steps, clocks, cabinets and the like tell which they are, and those are compared.
		return last == x && (x != "Name" || name == "Name" || name == "Sample.Clocks.Limits.Name")
	})
}

// walk calls f with the path of every field that holds a value.
func walk(typ reflect.Type, path string, f func(string)) {
	switch typ.Kind() {
	case reflect.Struct:
		for field := range typ.Fields() {
			if field.Name == "Earlier" {
				continue // the same again
			}
			walk(field.Type, strings.TrimPrefix(path+"."+field.Name, "."), f)
		}
	case reflect.Slice, reflect.Map, reflect.Pointer:
		walk(typ.Elem(), path, f)
	default:
		f(path)
	}
}

// leaves are the paths of all values; of a list or a map the first entry stands for all.
func leaves(v reflect.Value) (all [][]string) {
	add := func(step string, v reflect.Value) {
		for _, p := range leaves(v) {
			all = append(all, append([]string{step}, p...))
		}
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if name := v.Type().Field(i).Name; name != "Earlier" {
				add(name, v.Field(i))
			}
		}
	case reflect.Slice:
		if v.Len() > 0 {
			add("[0]", v.Index(0))
		}
	case reflect.Map:
		if v.Len() > 0 {
			add("{}", v.MapIndex(v.MapKeys()[0]))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			add("*", v.Elem())
		}
	default:
		return [][]string{nil}
	}
	return all
}

// plainPath is a path without the places in lists.
func plainPath(path []string) string {
	return strings.Join(slices.DeleteFunc(slices.Clone(path), func(p string) bool { return p == "[0]" || p == "{}" || p == "*" }), ".")
}

// at follows a path. Of a map, which cannot be changed in place, the list behind its key is.
func at(v reflect.Value, path []string) reflect.Value {
	for _, p := range path {
		switch p {
		case "[0]":
			v = v.Index(0)
		case "{}":
			v = v.MapIndex(v.MapKeys()[0])
		case "*":
			v = v.Elem()
		default:
			v = v.FieldByName(p)
		}
	}
	return v
}

// change gives a value another.
func change(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.String:
		v.SetString(v.String() + "x")
	case reflect.Bool:
		v.SetBool(!v.Bool())
	case reflect.Int, reflect.Int64:
		v.SetInt(v.Int() + 1)
	case reflect.Float64:
		v.SetFloat(v.Float() + 0.5)
	default:
		return false
	}
	return true
}

// What asks for less, and what does not, by field.
func TestLaxer(t *testing.T) {
	t.Parallel()
	step := func(r *policy.RuleSet, kind reprocessing.StepKind) *reprocessing.StepRule {
		return &r.Reprocessing.Steps[slices.IndexFunc(r.Reprocessing.Steps, func(s reprocessing.StepRule) bool { return s.Step == kind })]
	}
	type rules = policy.RuleSet
	for _, tt := range []struct {
		name   string
		change func(r *rules)
		// to says what the change asks less of, back what the way back does; empty where that asks for as much.
		to, back string
	}{
		{"a name", func(r *rules) { r.Name, r.Edition, r.Note = "x", "y", "z" }, "", ""},
		{"a citation", func(r *rules) { step(r, reprocessing.Drying).Source = sampling.Source{Citation: "other"} }, "", ""},
		{"a step may be left out", func(r *rules) { step(r, reprocessing.Inspection).Required = false }, "inspection: may be left out", ""},
		{"shorter", func(r *rules) { step(r, reprocessing.Drying).AtLeast = 9 * unit.Minute }, "drying: lasts at least 9min instead of 10min", ""},
		{"a longest time", func(r *rules) { step(r, reprocessing.Drying).AtMost = unit.Hour }, "", "drying: lasts at most nothing instead of 1h"},
		{"later", func(r *rules) { step(r, reprocessing.ManualCleaning).Within = 2 * unit.Hour }, "manual cleaning: begins within 2h instead of 1h", ""},
		{"no limit", func(r *rules) { step(r, reprocessing.ManualCleaning).Within = 0 }, "begins within nothing", ""},
		{"counted from elsewhere", func(r *rules) { step(r, reprocessing.ManualCleaning).From = "" }, "counted from something else", "counted from something else"},
		{"a limit that starts another clock", func(r *rules) { step(r, reprocessing.PointOfUse).Within = 0 }, "begins within nothing", "the clock of a later step"},
		{"just a repeat", func(r *rules) { step(r, reprocessing.LeakTest).AfterFail = reprocessing.JustRepeat }, "after a failure", ""},
		{"starts later", func(r *rules) { step(r, reprocessing.LeakTest).Starts = "2027-01-01" }, "leak test: starts on 2027-01-01", ""},
		{"kept elsewhere", func(r *rules) {
			s := step(r, reprocessing.LeakTest)
			s.KeptIn, s.KeptBy, s.KeptReview = "a log", "L-01", "2027-01-01"
		}, "leak test: is kept elsewhere", ""},
		{"no step", func(r *rules) { r.Reprocessing.Steps = slices.Delete(r.Reprocessing.Steps, 1, 2) }, "transport: no step any more", ""},
		{"another order", func(r *rules) {
			s := r.Reprocessing.Steps
			s[1], s[2] = s[2], s[1]
		}, "in another order", "in another order"},
		{"what people are told", func(r *rules) { step(r, reprocessing.LeakTest).OnFail = "other" }, "", ""},
		{"a step of a model", func(r *rules) {
			steps := slices.Clone(r.Reprocessing.Steps)
			steps[2].Required = false
			r.Reprocessing.Models = map[string][]reprocessing.StepRule{"m": steps}
		}, "model m, leak test: may be left out", ""},
		{"a shorter route", func(r *rules) {
			r.Reprocessing.Routes = slices.Clone(r.Reprocessing.Routes)
			r.Reprocessing.Routes[2].Steps = slices.DeleteFunc(slices.Clone(r.Reprocessing.Routes[2].Steps), func(k reprocessing.StepKind) bool {
				return k == reprocessing.LeakTest
			})
		}, "after repair: no leak test", ""},
		{"no routes", func(r *rules) { r.Reprocessing.Routes = nil }, "when the storage time is over: no leak test", ""},
		{"longer outside", func(r *rules) { r.Reprocessing.Unstored = 4 * unit.Hour }, "outside a cabinet: 4h instead of 3h", ""},
		{"no word of outside", func(r *rules) { r.Reprocessing.Unstored = 0 }, "outside a cabinet: nothing", "outside a cabinet: 3h instead of nothing"},
		{"longer in a cabinet", func(r *rules) { r.Reprocessing.Cabinets[0].Days++ }, "cabinet drying-cabinet: a scope may wait longer", ""},
		{"hours instead of days", func(r *rules) {
			r.Reprocessing.Cabinets[0].Days, r.Reprocessing.Cabinets[0].Hours = 0, 1
		}, "may wait longer", "may wait longer"},
		{"a new cabinet", func(r *rules) { r.Reprocessing.Cabinets[0].Name = "shelf" }, "cabinet shelf: is new", "cabinet drying-cabinet: is new"},
		{"shorter contact", func(r *rules) { r.Reprocessing.Disinfectants[0].Contact-- }, "disinfectant opa-0.55: less", ""},
		{"colder", func(r *rules) { r.Reprocessing.Disinfectants[0].Coldest-- }, "disinfectant opa-0.55: less", ""},
		{"no test", func(r *rules) { r.Reprocessing.Disinfectants[0].MEC = false }, "disinfectant opa-0.55: less", ""},
		{"used for longer", func(r *rules) { r.Reprocessing.Disinfectants[0].ReuseDays++ }, "disinfectant opa-0.55: less", ""},
		{"a highest temperature", func(r *rules) { r.Reprocessing.Disinfectants[0].Warmest = 30 }, "", "disinfectant opa-0.55: less"},
		{"a new disinfectant", func(r *rules) { r.Reprocessing.Disinfectants[0].Name = "other" }, "disinfectant other: is new", "disinfectant opa-0.55: is new"},
		{"not every cycle", func(r *rules) { r.Sample.Due = r.Sample.Due[1:] }, "cleaning verification every cycle high: less is due", ""},
		{"for fewer scopes", func(r *rules) { r.Sample.Due[0].Kinds = []scope.Kind{scope.Duodenoscope} }, "less is due", ""},
		{"for more scopes", func(r *rules) { r.Sample.Due[0].Risk = "" }, "", "less is due"},
		{"does not block", func(r *rules) { r.Sample.Due[0].Blocks = false }, "less is due", ""},
		{"more uses", func(r *rules) { r.Sample.Due[1].Uses++ }, "less is due", ""},
		{"a longer clock", func(r *rules) { r.Sample.Clocks.Limits[0].Within++ }, "clock activate the surface sample", ""},
		{"a longer pause", func(r *rules) { r.Sample.Clocks.Limits[1].CappedWithin++ }, "clock dip into the rinsate", ""},
		{"shaken shorter", func(r *rules) { r.Sample.Clocks.Shake-- }, "shaking for", ""},
		{"another act", func(r *rules) { r.Sample.Protocols[0].Acts[1].Do = "other" }, "protocol of", "protocol of"},
		{"fewer selected", func(r *rules) { r.Sample.Selection.Size-- }, "random selection", ""},
		{"selected later", func(r *rules) { r.Sample.Selection.EveryDays++ }, "random selection", ""},
		{"more cleanings", func(r *rules) { r.Reading.Cleanings++ }, "more cleanings before a lead decides", ""},
		{"fewer points again", func(r *rules) { r.Reading.Retest = reading.FailingPoints }, "fewer points are sampled again", ""},
		{"an alert instead", func(r *rules) { r.Reading.Combine = reading.DisagreementIsAlert }, "another counts", ""},
		{"no second reading", func(r *rules) { r.Reading.Duplicate = false }, "no second reading near a level", ""},
		{"another recovery", func(r *rules) { r.Reading.Recovery = 0.9 }, "another recovery", "another recovery"},
		{"no word of meters", func(r *rules) { r.Meters = nil }, "checks of meters", "checks of meters"},
		{"fewer control rules", func(r *rules) { r.Meters.Rules.Use = r.Meters.Rules.Use[:2] }, "checks of meters", ""},
		{"fewer controls", func(r *rules) { r.Meters.Rules.Required = nil }, "checks of meters", ""},
		{"a check holds longer", func(r *rules) { r.Meters.Holds = quality.Policy{Every: 48 * unit.Hour} }, "checks of meters", "checks of meters"},
	} {
		before, after := preset(t), preset(t)
		tt.change(&after)
		for _, way := range []struct {
			what         string
			before, then policy.RuleSet
			want         string
		}{{"to", before, after, tt.to}, {"back", after, before, tt.back}} {
			less := strings.Join(policy.Laxer(way.before, way.then), "; ")
			if (way.want == "") != (less == "") || !strings.Contains(less, way.want) {
				t.Errorf("%s, %s: %q, want %q", tt.name, way.what, less, way.want)
			}
		}
	}
}

// Where the rules do not speak of leak tests a leak asks for a repair: to speak of them without one asks for less.
func TestLeakTestThatIsAdded(t *testing.T) {
	without, with := preset(t), preset(t)
	leak := func(s reprocessing.StepRule) bool { return s.Step == reprocessing.LeakTest }
	without.Reprocessing.Steps = slices.DeleteFunc(slices.Clone(without.Reprocessing.Steps), leak)
	with.Reprocessing.Steps = slices.Clone(with.Reprocessing.Steps)
	rule := &with.Reprocessing.Steps[slices.IndexFunc(with.Reprocessing.Steps, leak)]
	const says = "leak test: a leak ends without a repair"
	for asks, want := range map[reprocessing.AfterFail]bool{reprocessing.JustRepeat: true, reprocessing.CleanAgain: true, reprocessing.RepairFirst: false} {
		rule.AfterFail = asks
		if less := policy.Laxer(without, with); slices.Contains(less, says) != want {
			t.Errorf("%q: %q", asks, less)
		}
	}
}
