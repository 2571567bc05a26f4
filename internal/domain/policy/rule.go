package policy

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// Section groups the rules of a rule set for reading.
type Section string

// The sections, in the order of the work.
const (
	Occasions     Section = "When cleaning verifications are due"
	Selections    Section = "Random selection"
	Protocols     Section = "Protocols"
	Clocks        Section = "Clocks of a sample"
	Verifications Section = "Cleaning verifications"
	Steps         Section = "Steps of a cycle"
	Routes        Section = "What is asked for when"
	Storage       Section = "Storage"
	Disinfectants Section = "Disinfection"
	Checks        Section = "Checks of meters"
)

// Rule is one rule of a rule set as people read it.
type Rule struct {
	Section Section
	Name    string
	// Words says the rule in a sentence or two.
	Words string
	// Source is where it comes from; nil for what a facility decides by itself without a citation.
	Source *sampling.Source
	// Base is the path of what holds the citation, Settings what is usually changed, the source apart.
	Base     []string
	Settings []Setting
	// Protocol is set for the protocol of points.
	Protocol *sampling.Protocol
}

// Sourced are the settings of a rule's source; none when it has none.
func (r Rule) Sourced() []Setting {
	if r.Source == nil || r.Base == nil {
		return nil
	}
	return at(r.Base...).add("citation", Phrase, r.Source.Citation).add("verified", YesNo, yesNo(r.Source.Verified)).
		add("verified_in", Phrase, r.Source.VerifiedIn, optional).list
}

// VerifiedBy is the path of the code of whoever verified the rule.
func (r Rule) VerifiedBy() []string { return append(slices.Clone(r.Base), "verified_by") }

// Rules lists every rule of the rule set in the order of the sections.
func (r RuleSet) Rules() []Rule {
	var all []Rule
	add := func(section Section, name, words string, source *sampling.Source, s *settingsOf) *Rule {
		all = append(all, Rule{Section: section, Name: name, Words: words, Source: source, Base: s.path, Settings: s.list})
		return &all[len(all)-1]
	}
	for _, d := range r.Sample.Due {
		s := at("sampling", "due", dueName(d))
		if d.When == sampling.Periodic {
			s.add("uses", Whole, whole(d.Uses), optional).add("days", Whole, whole(d.Days), optional)
		}
		add(Occasions, text.Spaced(d.When), dueWords(d), &d.Source, s.add("blocks", YesNo, yesNo(d.Blocks)))
	}
	d := r.Sample.Selection
	add(Selections, "random selection of scopes", selectionWords(d), &d.Source, at("sampling", "selection").add("per_kind", Whole, whole(d.PerKind), optional).
		add("per_process", Whole, whole(d.PerProcess), optional).add("every_days", Whole, whole(d.EveryDays), optional).add("size", Whole, whole(d.Size), optional))
	protocols := func(model string, list []sampling.Protocol, path ...string) {
		for _, p := range list {
			name := scope.Words(p.Points)
			rule := add(Protocols, strings.TrimPrefix(model+", "+text.Spaced(name), ", "), protocolWords(p), &p.Source, at(append(slices.Clone(path), name)...))
			rule.Protocol = &p
		}
	}
	protocols("", r.Sample.Protocols, "sampling", "protocols")
	for _, model := range slices.Sorted(maps.Keys(r.Sample.Models)) {
		protocols("model "+model, r.Sample.Models[model], "sampling", "models", model)
	}
	for _, c := range r.Sample.Clocks.Limits {
		add(Clocks, c.Name, clockWords(c), &c.Source, at("sampling", "clocks", "limits", c.Name).
			add("within", Duration, span(c.Within)).add("capped_within", Duration, span(c.CappedWithin), optional))
	}
	add(Clocks, "shake", fmt.Sprintf("An activated device is shaken for at least %s.", r.Sample.Clocks.Shake), nil,
		at("sampling", "clocks").add("shake", Duration, span(r.Sample.Clocks.Shake), optional))
	x := r.Reading
	add(Verifications, "cleaning verification", verificationWords(x), nil, at("reading").add("cleanings", Whole, whole(x.Cleanings)).
		add("retest", Choice, string(x.Retest), oneOf([]reading.Retest{reading.AllPoints, reading.FailingPoints})).
		add("combine", Choice, string(x.Combine), oneOf(reading.Combines)).
		add("duplicate_near_level", YesNo, yesNo(x.Duplicate)).add("recovery", Decimal, decimal(x.Recovery), optional))
	steps := func(model string, list []reprocessing.StepRule, path ...string) {
		for i, step := range list {
			s := at(append(slices.Clone(path), string(step.Step))...)
			s.add("required", YesNo, yesNo(step.Required)).add("at_least", Duration, span(step.AtLeast), optional).
				add("at_most", Duration, span(step.AtMost), optional).add("within", Duration, span(step.Within), optional)
			if i > 0 {
				s.add("from", Choice, string(step.From), optional, oneOf(before(list[:i])))
			}
			s.add("after_fail", Choice, string(step.AfterFail), optional, oneOf(reprocessing.AfterFails))
			s.add("on_late", Phrase, step.OnLate, optional).add("on_fail", Phrase, step.OnFail, optional)
			s.add("starts", Calendar, string(step.Starts), optional).add("kept_in", Phrase, step.KeptIn, optional).
				add("kept_by", Phrase, step.KeptBy, optional).add("kept_review", Calendar, string(step.KeptReview), optional)
			add(Steps, strings.TrimPrefix(model+", "+text.Spaced(step.Step), ", "), stepWords(step), &step.Source, s)
		}
	}
	steps("", r.Reprocessing.Steps, "reprocessing", "steps")
	for _, model := range slices.Sorted(maps.Keys(r.Reprocessing.Models)) {
		steps("model "+model, r.Reprocessing.Models[model], "reprocessing", "models", model)
	}
	for _, o := range reprocessing.Occasions {
		name, words := o.Words(), routeWords(r.Reprocessing.RouteOf(o, ""))
		i := slices.IndexFunc(r.Reprocessing.Routes, func(x reprocessing.Route) bool { return x.After == o })
		if i < 0 {
			all = append(all, Rule{Section: Routes, Name: name, Words: words})
			continue
		}
		add(Routes, name, words, &r.Reprocessing.Routes[i].Source, at("reprocessing", "routes", string(o)))
	}
	outside := add(Storage, "outside a cabinet", unstoredWords(r.Reprocessing.Unstored), &r.Reprocessing.UnstoredSource,
		at("reprocessing").add("unstored", Duration, span(r.Reprocessing.Unstored), optional))
	outside.Base = []string{"reprocessing", "unstored_source"}
	for _, c := range r.Reprocessing.Cabinets {
		s := at("reprocessing", "cabinets", c.Name)
		words := fmt.Sprintf("A scope may wait in it for %d days.", c.Days)
		if c.Hours > 0 {
			words = fmt.Sprintf("A scope may wait in it for %d hours.", c.Hours)
			s.add("hours", Whole, whole(c.Hours))
		} else {
			s.add("days", Whole, whole(c.Days))
		}
		add(Storage, c.Name, words, &c.Source, s)
	}
	for _, a := range r.Reprocessing.Disinfectants {
		add(Disinfectants, a.Name, disinfectantWords(a), &a.Source, at("reprocessing", "disinfectants", a.Name).add("contact", Duration, span(a.Contact)).
			add("coldest_cel", Decimal, decimal(a.Coldest), optional, in("°C")).add("warmest_cel", Decimal, decimal(a.Warmest), optional, in("°C")).
			add("mec", YesNo, yesNo(a.MEC)).add("reuse_days", Whole, whole(a.ReuseDays), optional))
	}
	if m := r.Meters; m != nil {
		add(Checks, "checks of meters", checkWords(*m), &m.Source, at("meters"))
	}
	return distinct(all)
}

// distinct takes the settings from a rule that is called like one before it: no path leads to it.
func distinct(all []Rule) []Rule {
	seen := map[string]bool{}
	for i := range all {
		base := strings.Join(all[i].Base, "/")
		if seen[base] {
			all[i].Base, all[i].Settings = nil, nil
		}
		seen[base] = true
	}
	return all
}

// dueName is what a due rule is called in the text; see called.
func dueName(d sampling.Rule) string {
	name := string(d.When)
	if d.Risk != "" {
		name += " " + string(d.Risk)
	}
	if len(d.Kinds) > 0 {
		name += " " + scope.Words(d.Kinds)
	}
	return name
}

func before(steps []reprocessing.StepRule) []reprocessing.StepKind {
	kinds := make([]reprocessing.StepKind, len(steps))
	for i, s := range steps {
		kinds[i] = s.Step
	}
	return kinds
}

func decimal[T interface {
	~float64
	fmt.Stringer
}](v T,
) string {
	if v == 0 {
		return ""
	}
	return v.String()
}

func dueWords(d sampling.Rule) string {
	whose := "every scope"
	if d.Risk != "" {
		whose = string(d.Risk) + "-risk scopes"
	}
	if len(d.Kinds) > 0 {
		whose += " of " + scope.Words(d.Kinds)
	}
	var what string
	switch d.When {
	case sampling.EveryCycle:
		what = "A cleaning verification in every cycle"
	case sampling.Periodic:
		var limits []string
		if d.Uses > 0 {
			limits = append(limits, fmt.Sprintf("%d uses", d.Uses))
		}
		if d.Days > 0 {
			limits = append(limits, fmt.Sprintf("%d days", d.Days))
		}
		what = "A cleaning verification after " + strings.Join(limits, " or ") + ", whichever comes first"
		if len(limits) == 1 {
			what = "A cleaning verification after " + limits[0]
		}
	case sampling.AfterRepair:
		what = "A cleaning verification after a repair"
	case sampling.AfterFailedVerification:
		what = "A cleaning verification after one that was over the action level"
	case sampling.OnArrival:
		what = "A cleaning verification when a scope that is not the facility's own arrives"
	case sampling.OnRequest:
		what = "A cleaning verification when somebody asks for it"
	}
	release := "the release check stays open meanwhile"
	if d.Blocks {
		release = "the release check stays shut until it is done"
	}
	return fmt.Sprintf("%s, for %s; %s.", what, whose, release)
}

func selectionWords(d sampling.Selection) string {
	words := fmt.Sprintf("At least %d of each kind and %d of each process, and %d in all", d.PerKind, d.PerProcess, d.Size)
	if d.EveryDays > 0 {
		words += fmt.Sprintf("; every scope at the latest after %d days", d.EveryDays)
	}
	return words + "."
}

func protocolWords(p sampling.Protocol) string {
	words := fmt.Sprintf("By %s, in %d acts", p.Method, len(p.Acts))
	if v := p.Flush(); v > 0 {
		words += fmt.Sprintf("; %s mL of sterile water are collected", v)
	}
	return words + "."
}

func clockWords(c sampling.Clock) string {
	words := fmt.Sprintf("From %s to %s within %s", c.From, c.To, c.Within)
	if c.Method != "" {
		words = string(c.Method) + " samples: " + strings.ToLower(words[:1]) + words[1:]
		words = strings.ToUpper(words[:1]) + words[1:]
	}
	if c.CappedWithin > 0 {
		words += fmt.Sprintf("; a closed container pauses it for at most %s", c.CappedWithin)
	}
	return words + "."
}

func verificationWords(x reading.Rules) string {
	again := "all points are sampled again"
	if x.Retest == reading.FailingPoints {
		again = "the points over the action level are sampled again"
	}
	words := "When the first test is over the action level, a lead decides."
	if x.Cleanings > 1 {
		words = fmt.Sprintf("After a test over the action level the scope is cleaned again and %s; when the %s is over it as well, a lead decides.",
			again, reading.Test(x.Cleanings))
	}
	words += fmt.Sprintf(" Of several readings of a point the %s counts.", x.Combine)
	if x.Duplicate {
		words += " A reading near a level needs a second one."
	}
	if x.Recovery > 0 {
		words += fmt.Sprintf(" Sampling brings %s of the residue off the wall.", x.Recovery)
	}
	return words
}

func stepWords(s reprocessing.StepRule) string {
	parts := []string{"may be left out"}
	if s.Required {
		parts[0] = "required"
	}
	switch {
	case s.KeptIn != "":
		const words = "kept elsewhere, in: %s; signed by %s; to be reviewed by %s, and asked for here after that"
		parts = append(parts, fmt.Sprintf(words, s.KeptIn, s.KeptBy, s.KeptReview))
	case s.Starts.Known():
		parts = append(parts, fmt.Sprintf("asked for from %s on, of what begins then or later", s.Starts))
	}
	if s.AtLeast > 0 {
		parts = append(parts, fmt.Sprintf("lasts at least %s", s.AtLeast))
	}
	if s.AtMost > 0 {
		parts = append(parts, fmt.Sprintf("lasts at most %s", s.AtMost))
	}
	if s.Within > 0 {
		from := "the use"
		if s.From != "" {
			from = text.Spaced(s.From)
		}
		parts = append(parts, fmt.Sprintf("begins within %s after %s; when it is late: %s", s.Within, from, s.OnLate))
	}
	if s.AfterFail != reprocessing.JustRepeat {
		parts = append(parts, fmt.Sprintf("once it failed it counts again only after %s", s.AfterFail.Words()))
	}
	if s.OnFail != "" {
		parts = append(parts, "when it fails: "+s.OnFail)
	}
	text := strings.Join(parts, "; ") + "."
	return strings.ToUpper(text[:1]) + text[1:]
}

// routeWords says what an occasion asks for: what is required, then what may be left out.
func routeWords(route []reprocessing.StepRule) string {
	var required, open []reprocessing.StepKind
	for _, s := range route {
		if s.Required {
			required = append(required, s.Step)
		} else {
			open = append(open, s.Step)
		}
	}
	words := "Asks for: " + scope.Named(required)
	if len(open) > 0 {
		words += "; may be left out: " + scope.Named(open)
	}
	return words + "."
}

func unstoredWords(s unit.Span) string {
	if s == 0 {
		return "No limit on the time outside a cabinet."
	}
	return fmt.Sprintf("A dried scope may wait outside a cabinet for %s.", s)
}

func disinfectantWords(a reprocessing.Disinfectant) string {
	words := fmt.Sprintf("Contact for %s", a.Contact)
	switch {
	case a.Coldest != 0 && a.Warmest != 0:
		words += fmt.Sprintf(" at %s to %s °C", a.Coldest, a.Warmest)
	case a.Coldest != 0:
		words += fmt.Sprintf(" at %s °C or more", a.Coldest)
	case a.Warmest != 0:
		words += fmt.Sprintf(" at %s °C at most", a.Warmest)
	}
	if a.MEC {
		words += "; concentration checked before each use"
	}
	if a.ReuseDays > 0 {
		words += fmt.Sprintf("; used for %d days", a.ReuseDays)
	}
	return words + "."
}

func checkWords(m Metering) string {
	words := "A good check holds to the end of its day"
	if !m.Holds.SameDay {
		words = fmt.Sprintf("A good check holds for %s", m.Holds.Every)
	}
	if len(m.Rules.Required) > 0 {
		words += "; it needs the controls " + scope.Words(m.Rules.Required)
	}
	if len(m.Rules.Use) > 0 {
		words += "; control rules " + scope.Words(m.Rules.Use)
	}
	return words + "."
}
