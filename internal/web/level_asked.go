package web

import (
	"cmp"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/web/kit"
)

// asked is everything that a page of the workshop is asked, as the names and values of its address. So a
// page can be kept, passed on and gone back to.
type asked url.Values

// The names in the addresses of the workshop, by the part that they belong to.
var (
	askedTarget   = []string{"system", "kit", "point", "kind", "from", "to"}
	askedReadings = []string{"doubt", "why", "detection", "outliers"}
	askedPlan     = []string{"share-alert", "share-action", "confidence", "take", "comparison", "seed"}
	askedLevel    = []string{"method", "alert", "action", "cv"}
	askedCultures = []string{"cultures", "prevalence"}
	askedTrial    = []string{"spread", "shared", "points", "cleanings", "sample", "cleaning"}
	askedPair     = []string{"first", "first-alert", "first-action", "first-comparison", "second", "second-alert", "second-action", "second-comparison"}
	askedNames    = slices.Concat(askedTarget, askedReadings, askedPlan, askedLevel, askedCultures, askedTrial, askedPair)
)

// askedOf keeps what the workshop knows and is not empty. Readings that are doubted come with their reason,
// so that an empty one of the two keeps its place.
func askedOf(values url.Values) asked {
	q := asked{}
	for _, name := range askedNames {
		for _, v := range values[name] {
			if v = strings.TrimSpace(v); v != "" || name == "doubt" || name == "why" {
				q[name] = append(q[name], v)
			}
		}
	}
	var ids, why []string
	for i, id := range q["doubt"] {
		reason := ""
		if i < len(q["why"]) {
			reason = q["why"][i]
		}
		if id != "" || reason != "" {
			ids, why = append(ids, id), append(why, reason)
		}
	}
	delete(q, "doubt")
	delete(q, "why")
	if len(ids) > 0 {
		q["doubt"], q["why"] = ids, why
	}
	return q
}

func (q asked) get(name string) string { return url.Values(q).Get(name) }

// with returns the query of the same with some names set, in pairs; an empty value takes the name out.
func (q asked) with(pairs ...string) string {
	v := url.Values{}
	maps.Copy(v, q)
	for i := 0; i+1 < len(pairs); i += 2 {
		if v.Del(pairs[i]); pairs[i+1] != "" {
			v.Set(pairs[i], pairs[i+1])
		}
	}
	return v.Encode()
}

// namedValue is a name and a value that a form passes on.
type namedValue struct{ Name, Value string }

// hidden are the values that a form has to pass on because it does not ask for them itself.
func (q asked) hidden(but ...string) (all []namedValue) {
	for _, name := range askedNames {
		if slices.Contains(but, name) {
			continue
		}
		for _, v := range q[name] {
			all = append(all, namedValue{name, v})
		}
	}
	return all
}

// mistyped is something that was typed and cannot be.
func mistyped(format string, args ...any) error {
	return &kit.PageError{Status: http.StatusBadRequest, Message: fmt.Sprintf(format, args...)}
}

// askedDays is how many days a page looks back when nothing else is said, as the command line does.
const askedDays = 180

// days reads the period that is asked about, from the first moment of the first day up to the last of the
// last one, and completes the question with them.
func (s levelPages) days(q asked) (from, to unit.Instant, err error) {
	zone := s.Desk.DB.Zone()
	day := func(name string, usual time.Time) (time.Time, error) {
		if q.get(name) == "" {
			q[name] = []string{usual.Format(time.DateOnly)}
		}
		t, err := time.ParseInLocation(time.DateOnly, q.get(name), zone)
		if err != nil {
			return t, mistyped("%q is no day. Write it like %s.", q.get(name), usual.Format(time.DateOnly))
		}
		return t, nil
	}
	last, err := day("to", s.Now().Time().In(zone))
	if err != nil {
		return 0, 0, err
	}
	first, err := day("from", last.AddDate(0, 0, -askedDays))
	if err != nil {
		return 0, 0, err
	}
	if last.Before(first) {
		return 0, 0, mistyped("The period ends before it begins. Exchange the two days.")
	}
	return unit.At(first), unit.At(last).AddDays(1, zone), nil
}

// target reads what the level is for. ok is false when nothing is said yet.
func (q asked) target() (t level.Target, ok bool, err error) {
	t = level.Target{System: q.get("system"), Kit: q.get("kit"), Point: scope.PointKind(q.get("point")), Kind: scope.Kind(q.get("kind"))}
	if t == (level.Target{}) {
		return t, false, nil
	}
	if err := t.Check(); err != nil {
		return t, false, mistyped("%s", kit.Sentence(strings.ReplaceAll(err.Error(), "\n", "; ")))
	}
	return t, true, nil
}

// whole reads a whole number from 0 on.
func (q asked) whole(name, what string) (int, error) {
	if q.get(name) == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(q.get(name))
	if err != nil || n < 0 || n > reading.MaxRLU {
		return 0, mistyped("The %s %q is not a whole number from 0 on.", what, q.get(name))
	}
	return n, nil
}

// number reads a decimal number, or what is usual when nothing is said.
func (q asked) number(name, what string, usual float64) (float64, error) {
	if q.get(name) == "" {
		return usual, nil
	}
	n, err := unit.ParseNumber(q.get(name))
	if err != nil || n < 0 {
		return 0, mistyped("%s: %q is not a number from 0 on, written like 12.5.", what, q.get(name))
	}
	return float64(n), nil
}

// wholes reads a few whole numbers, separated by commas or spaces.
func (q asked) wholes(name, what string, usual ...int) ([]int, error) {
	words := strings.FieldsFunc(q.get(name), func(r rune) bool { return r == ',' || r == ' ' })
	if len(words) == 0 {
		return usual, nil
	}
	const most = 4
	if len(words) > most {
		return nil, mistyped("%s: at most %d numbers can be shown together.", what, most)
	}
	var all []int
	for _, w := range words {
		n, err := strconv.Atoi(w)
		if err != nil || n < 1 || n > 100 {
			return nil, mistyped("%s: %q is not a whole number from 1 to 100.", what, w)
		}
		if !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	return all, nil
}

// The numbers of readings that the pages take at most, the latest ones, so that an answer comes soon.
const (
	mostStudied  = 30_000
	mostReplayed = 150_000
)

// study reads which readings a level is to be derived from, and how.
func (s levelPages) study(q asked, t level.Target) (desk.Study, error) {
	from, to, err := s.days(q)
	if err != nil {
		return desk.Study{}, err
	}
	p, err := q.plan(t)
	if err != nil {
		return desk.Study{}, err
	}
	study := desk.Study{Plan: p, From: from, To: to, Most: mostStudied, MostReplayed: mostReplayed}
	for i, id := range q["doubt"] {
		why := q["why"][i]
		switch {
		case id == "":
			return study, mistyped("Which reading or scope does %q leave out? Give the record of the reading or the tag of the scope.", why)
		case why == "":
			return study, mistyped("Why does %s not count? A reading is left out for a reason that has nothing to do with how high it is.", id)
		}
		study.Doubted = append(study.Doubted, desk.Doubted{ID: id, Why: why})
	}
	return study, nil
}

// plan reads how candidates are derived.
func (q asked) plan(t level.Target) (p level.Plan, err error) {
	p = level.Usual(t)
	if p.Detection, err = q.whole("detection", "detection limit"); err != nil {
		return p, err
	}
	if p.Outliers, err = q.whole("outliers", "number of outliers"); err != nil {
		return p, err
	}
	p.Take = cmp.Or(level.Take(q.get("take")), p.Take)
	p.Comparison = cmp.Or(reading.Comparison(q.get("comparison")), p.Comparison)
	p.Seed = cmp.Or(q.get("seed"), p.Seed)
	p.Alert, err = stats.ParseProbability(cmp.Or(q.get("share-alert"), p.Alert.String()))
	if err == nil {
		p.Action, err = stats.ParseProbability(cmp.Or(q.get("share-action"), p.Action.String()))
	}
	if err == nil {
		p.Confidence, err = stats.ParseConfidence(cmp.Or(q.get("confidence"), p.Confidence.String()))
	}
	if err == nil {
		err = p.Check()
	}
	if err != nil {
		return p, mistyped("%s", kit.Sentence(strings.ReplaceAll(err.Error(), "\n", "; ")))
	}
	return p, nil
}

// typedLevel is the method of a level that somebody types.
const typedLevel = "typed"

// level reads which level was chosen: a candidate of a method or one that was typed. ok is false when none
// was.
func (q asked) level(d level.Derivation) (l reading.Level, ok bool, err error) {
	t := d.Plan.Target
	switch method := q.get("method"); {
	case method == "":
		return l, false, nil
	case method == typedLevel:
		l = reading.Level{System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, Analyte: reading.ATP, Unit: reading.RLU, Comparison: d.Plan.Comparison}
		if err := q.limits(&l, "alert", "action"); err != nil {
			return l, false, err
		}
	case slices.Contains(level.Methods, level.Method(method)):
		if l, err = d.Proposed(level.Method(method)); err != nil {
			return l, false, mistyped("%s", kit.Sentence(err.Error()))
		}
	default:
		return l, false, mistyped("There is no method %q.", method)
	}
	cv, err := q.number("cv", "The coefficient of variation", 0)
	l.CV = unit.Number(cv)
	if err == nil {
		err = checked(l)
	}
	return l, err == nil, err
}

// limits reads alert and action level of a level that is typed.
func (q asked) limits(l *reading.Level, alert, action string) error {
	a, err := q.whole(alert, "alert level")
	if err != nil {
		return err
	}
	b, err := q.whole(action, "action level")
	if err != nil {
		return err
	}
	if b == 0 {
		return mistyped("Type an action level, a whole number over 0.")
	}
	l.Alert, l.Action = unit.Number(a), unit.Number(b)
	return nil
}

// checked refuses a level that nobody could adopt.
func checked(l reading.Level) error {
	l.Source, l.Edition, l.Adopter, l.Adopted = cmp.Or(l.Source, "proposed"), "proposed", "proposed", 1
	if err := l.Check(); err != nil {
		return mistyped("%s", kit.Sentence(strings.ReplaceAll(err.Error(), "\n", "; ")))
	}
	return nil
}

// Minutes that a sample and a cleaning cost when nothing is said: a published time for one gastroscope.
const (
	usualSampleMinutes   = 8
	usualCleaningMinutes = 16
)

// costs reads what a replay counts with.
func (q asked) costs() (c desk.Costs, err error) {
	if c.SampleMinutes, err = q.number("sample", "Minutes for a sample", usualSampleMinutes); err == nil {
		c.CleaningMinutes, err = q.number("cleaning", "Minutes for a cleaning", usualCleaningMinutes)
	}
	return c, err
}
