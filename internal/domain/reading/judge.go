package reading

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Outcome is what a reading, a point or a verification means.
type Outcome string

// The outcomes.
const (
	OK     Outcome = "ok"     // under the alert level
	Alert  Outcome = "alert"  // at or over the alert level, not over the action level
	Action Outcome = "action" // over the action level
	Void   Outcome = "void"   // the sample or the reading does not count
	None   Outcome = "none"   // no result, or no level to judge it by
)

// Outcomes lists every outcome, the least severe first; see Outcome.Severity.
var Outcomes = []Outcome{OK, Alert, None, Void, Action}

// Severity orders outcomes: OK < alert < none < void < action. No result is worse than any
// good result, and only a result over the action level is worse than none.
func (o Outcome) Severity() int { return slices.Index(Outcomes, o) }

// Words says what the outcome is, as people read it.
func (o Outcome) Words() string {
	switch o {
	case OK:
		return "OK"
	case Alert:
		return "alert level reached"
	case Action:
		return "action level exceeded"
	case None:
		return "not judged"
	case Void:
		return "void"
	}
	return string(o)
}

// Brief is Words where space is short.
func (o Outcome) Brief() string {
	if o == Alert || o == Action {
		return string(o)
	}
	return o.Words()
}

// Passed says whether the outcome lets a scope go on.
func (o Outcome) Passed() bool { return o == OK || o == Alert }

// MaxRLU is the largest count that is believed; a larger one is a slip.
const MaxRLU = 9_999_999

// Value is what an instrument or a strip showed.
type Value struct {
	Analyte Analyte     `json:"analyte"`
	Unit    Unit        `json:"unit"`
	Number  unit.Number `json:"value,omitzero"`
	// Word is what a strip showed.
	Word string `json:"word,omitempty"`
	// Typed is the text as it was typed or sent.
	Typed string `json:"typed"`
}

// ParseValue reads the text of a value. RLU are whole numbers 0–9999999.
func ParseValue(a Analyte, u Unit, text string) (Value, error) {
	v := Value{Analyte: a, Unit: u, Typed: text}
	if !slices.Contains(UnitsOf(a), u) {
		return v, fmt.Errorf("unit %q does not fit %s; allowed: %s", u, a, scope.Words(UnitsOf(a)))
	}
	if a == Strip {
		v.Word = strings.ToLower(strings.TrimSpace(text))
		if v.Word == "" {
			return v, fmt.Errorf("the strip's word is missing")
		}
		return v, nil
	}
	n, err := unit.ParseNumber(strings.TrimSpace(text))
	if err != nil {
		return v, err
	}
	switch {
	case u == RLU && (n != unit.Number(math.Trunc(float64(n))) || n > MaxRLU || strings.ContainsAny(text, ".+-")):
		return v, fmt.Errorf("%q is not a whole number 0–%d", text, MaxRLU)
	case u != LogCFU && strings.Contains(text, "-"):
		return v, fmt.Errorf("%q is below zero", text)
	}
	v.Number = n
	return v, nil
}

// String prints the value with its unit.
func (v Value) String() string {
	if v.Analyte == Strip {
		return v.Word
	}
	return v.Number.String() + " " + string(v.Unit)
}

// PerArea converts a concentration in the recovered fluid to residue per area:
// C (µg/mL) · V (mL) / (A (cm²) · recovery), with recovery the fraction of residue that the method
// brings off the wall. RLU have no such conversion. All quantities must be over zero and recovery
// at most 1.
func PerArea(v Value, recovered unit.Millilitres, area unit.SquareCentimetres, recovery unit.Number) (Value, error) {
	switch {
	case v.Unit == PerCM2:
		return v, nil
	case v.Unit != PerML:
		return v, fmt.Errorf("%s cannot be turned into residue per area", v.Unit)
	case recovered <= 0:
		return v, fmt.Errorf("the recovered volume is needed to turn %s into residue per area", v)
	case area <= 0:
		return v, fmt.Errorf("the wetted area is needed to turn %s into residue per area", v)
	case recovery <= 0 || recovery > 1:
		return v, fmt.Errorf("the recovery %s must be a fraction over 0 and at most 1", recovery)
	}
	v.Number = unit.Number(float64(v.Number) * float64(recovered) / (float64(area) * float64(recovery)))
	v.Unit = PerCM2
	return v, nil
}

// Circumstances are what a value must be read with.
type Circumstances struct {
	System string          `json:"system"`
	Kit    string          `json:"kit"`
	Point  scope.PointKind `json:"point"`
	Kind   scope.Kind      `json:"kind"`
	At     unit.Instant    `json:"at"`
	// Recovered, Area and Recovery are needed only to turn µg/mL into µg/cm².
	Recovered unit.Millilitres       `json:"recovered_ml,omitzero"`
	Area      unit.SquareCentimetres `json:"area_cm2,omitzero"`
	Recovery  unit.Number            `json:"recovery,omitzero"`
}

// Judgement is the outcome of one reading with everything that it rests on. Only Judge, Flawed and
// Voided make one.
type Judgement struct {
	Outcome Outcome `json:"outcome"`
	// Level is the level that decided; nil when there is none.
	Level *Level `json:"level,omitempty"`
	// Judged is the value in the level's unit.
	Judged Value `json:"judged"`
	// Why is the sentence for a person.
	Why string `json:"why"`
	// Near says that a limit lies within the imprecision of a single reading, so that a duplicate
	// is asked for.
	Near bool `json:"near,omitempty"`
	// Unproven lists the clocks that could not be judged.
	Unproven []string `json:"unproven,omitempty"`
}

// Voided returns the judgement of a value whose sample does not count.
func Voided(v Value, why string) Judgement {
	return Judgement{Outcome: Void, Judged: v, Why: why}
}

// Flawed returns the judgement of a value whose sample does not count: why, and what to do instead. It is void, but for one that is over
// its action level. Residue that was found was there, however the sample was taken, and good readings never outweigh it.
func Flawed(v Value, c Circumstances, levels []Level, why, instead string) Judgement {
	if j := Judge(v, c, levels); j.Outcome == Action {
		j.Why += "; it counts although " + why
		return j
	}
	return Voided(v, why+": "+instead)
}

// Doubted returns what a judgement still says once the trust is gone from what the reading was made with.
// A doubt must not clear a scope: what passed does not count any more, and what is over the action level,
// or shows nothing, stays as it is.
func (j Judgement) Doubted(why string) Judgement {
	if !j.Outcome.Passed() {
		return j
	}
	return Voided(j.Judged, why+": take a new sample")
}

// Find returns the level for the circumstances that was in force at their instant: the one for
// this kind of scope before the one for all, the one that judges since later before earlier ones.
func Find(levels []Level, a Analyte, c Circumstances) (Level, bool) {
	var found *Level
	for i := range levels {
		l := &levels[i]
		if l.System != c.System || l.Kit != c.Kit || l.Point != c.Point || l.Analyte != a ||
			l.Judges() > c.At || l.Until.Known() && l.Until <= c.At || l.Kind != "" && l.Kind != c.Kind {
			continue
		}
		if found == nil || l.Kind != "" && found.Kind == "" ||
			(l.Kind != "") == (found.Kind != "") && l.Since(*found) >= 0 {
			found = l
		}
	}
	if found == nil {
		return Level{}, false
	}
	return *found, true
}

// Since compares by since when two levels of one target judge, and where that is one instant by when they were adopted:
// positive when the level takes the place of the other.
func (l Level) Since(other Level) int {
	return cmp.Or(cmp.Compare(l.Judges(), other.Judges()), cmp.Compare(l.Adopted, other.Adopted))
}

// Judge decides what a value means. Without a level the outcome is None, and the sentence says
// which levels there are and why they do not serve. A level that was in force and was taken back since clears nothing.
func Judge(v Value, c Circumstances, levels []Level) Judgement {
	l, ok := Find(levels, v.Analyte, c)
	if !ok {
		return Judgement{Outcome: None, Judged: v, Why: noLevel(v.Analyte, c, levels)}
	}
	j := l.Judge(v, c)
	if l.Until.Known() && j.Outcome.Passed() {
		return Judgement{Outcome: None, Judged: j.Judged, Why: "the level that was in force then was taken back (" + l.Name() + "): take a new sample"}
	}
	return j
}

// Judge decides what a value means by this level; the caller answers for their belonging together.
func (l Level) Judge(v Value, c Circumstances) Judgement {
	j := Judgement{Outcome: None, Level: &l, Judged: v}
	if v.Analyte == Strip {
		switch {
		case holds(l.Dirty, v.Word):
			j.Outcome, j.Why = Action, fmt.Sprintf("the strip shows %q, which counts as dirty", v.Word)
		case holds(l.Clean, v.Word):
			j.Outcome, j.Why = OK, fmt.Sprintf("the strip shows %q, which counts as clean", v.Word)
		default:
			j.Why = fmt.Sprintf("the strip's word %q is not one of the level's: %s", v.Word, strings.Join(append(slices.Clone(l.Clean), l.Dirty...), ", "))
		}
		return j
	}
	if v.Unit != l.Unit {
		if v.Unit != PerML || l.Unit != PerCM2 {
			j.Why = fmt.Sprintf("the value is in %s, the level in %s", v.Unit, l.Unit)
			return j
		}
		converted, err := PerArea(v, c.Recovered, c.Area, c.Recovery)
		if err != nil {
			j.Why = err.Error()
			return j
		}
		j.Judged = converted
	}
	n := j.Judged.Number
	over := n > l.Action || n == l.Action && l.Comparison == AtOrOver
	// Files of a million readings are judged in one go, hence no fmt here.
	value, alert, action := j.Judged.String(), l.Alert.String(), l.Action.String()
	switch {
	case over:
		j.Outcome, j.Why = Action, value+" is "+relation(n, l.Action)+" the action level "+action
	case l.Alert > 0 && n >= l.Alert:
		j.Outcome, j.Why = Alert, value+" is "+relation(n, l.Alert)+" the alert level "+alert+", not over the action level "+action
	case l.Alert > 0:
		j.Outcome, j.Why = OK, value+" is below the alert level "+alert
	case n == l.Action:
		j.Outcome, j.Why = OK, value+" is at the action level "+action+", not over it"
	default:
		j.Outcome, j.Why = OK, value+" is below the action level "+action
	}
	for _, limit := range []unit.Number{l.Alert, l.Action} {
		if lo, hi, ok := Band(limit, l.CV); ok && n >= lo && n <= hi {
			j.Near = true
			j.Why += fmt.Sprintf("; it lies within %.0f–%.0f, where single readings of a true %s fall: take a duplicate", float64(lo), float64(hi), limit)
			break
		}
	}
	return j
}

// holds says whether a strip's word is one of the words, in whatever case.
func holds(words []string, word string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return strings.EqualFold(w, word) })
}

func relation(n, limit unit.Number) string {
	if n == limit {
		return "at"
	}
	return "over"
}

// Band returns the interval in which 95 % of single readings fall when the true mean is the limit,
// for log-normal readings with coefficient of variation cv: median = limit/√(1+cv²), σ² =
// ln(1+cv²), bounds median·exp(±1.959964·σ). ok is false without a limit or a cv.
func Band(limit, cv unit.Number) (lo, hi unit.Number, ok bool) {
	if limit <= 0 || cv <= 0 {
		return 0, 0, false
	}
	s2 := math.Log1p(float64(cv) * float64(cv))
	median := float64(limit) / math.Sqrt(1+float64(cv)*float64(cv))
	const z = 1.959963984540054 // the 97.5 % point of the normal distribution
	spread := math.Exp(z * math.Sqrt(s2))
	return unit.Number(median / spread), unit.Number(median * spread), true
}

func noLevel(a Analyte, c Circumstances, levels []Level) string {
	why := fmt.Sprintf("no level is adopted for %s at the %s", Scale{c.System, c.Kit, a}, c.Point.Words())
	var others []string
	later := ""
	for _, l := range levels {
		if l.Point != c.Point || l.Analyte != a {
			continue
		}
		if l.System == c.System && l.Kit == c.Kit {
			switch {
			case l.Adopted > c.At:
				later = "; one was adopted only later"
			case l.Judges() > c.At && later == "":
				later = "; one was signed only later, and judges nothing that was read before"
			}
			continue
		}
		if s := fmt.Sprintf("system %q with kit %q", l.System, l.Kit); !slices.Contains(others, s) {
			others = append(others, s)
		}
	}
	switch {
	case later != "":
		why += later
	case len(others) > 0:
		slices.SortFunc(others, cmp.Compare[string])
		why += "; there is one for " + strings.Join(others, ", ") + ", which counts on another scale and cannot be used"
	}
	return why + ": adopt a level, then read again"
}

// Combine is the rule for several readings of one point.
type Combine string

// The rules. Both readings are always kept and shown; none is averaged away.
const (
	// Worst lets the worst reading decide.
	Worst Combine = "worst"
	// DisagreementIsAlert lets agreeing readings decide and makes a point an alert when one reading
	// is over the action level and another is not, the "equivocal" tier of duplicate swabbing
	// published for surgical instruments (PMC10426997).
	DisagreementIsAlert Combine = "disagreement-is-alert"
)

// Combines lists every rule.
var Combines = []Combine{Worst, DisagreementIsAlert}

// Point combines the outcomes of the readings of one point, in the order in which they were taken.
// Void readings count only when there is no other. No reading gives None.
func (rule Combine) Point(outcomes []Outcome) Outcome {
	counted := slices.DeleteFunc(slices.Clone(outcomes), func(o Outcome) bool { return o == Void })
	if len(counted) == 0 {
		if len(outcomes) > 0 {
			return Void
		}
		return None
	}
	worst := slices.MaxFunc(counted, func(a, b Outcome) int { return a.Severity() - b.Severity() })
	if rule == DisagreementIsAlert && worst == Action &&
		slices.ContainsFunc(counted, func(o Outcome) bool { return o.Passed() }) {
		return Alert
	}
	return worst
}

// Reading is one value of one sample with its judgement, as it is kept.
type Reading struct {
	Sample   string `json:"sample"`
	Scope    string `json:"scope"`
	Cleaning int    `json:"cleaning"`
	Meter    string `json:"meter,omitempty"`
	Lot      string `json:"lot,omitempty"`
	By       string `json:"by,omitempty"`
	Value    Value  `json:"value"`
	// With is what the value was read with; its At is the instant of the reading.
	With      Circumstances `json:"with"`
	Judgement Judgement     `json:"judgement"`
	// Rules names the rule set and edition in force.
	Rules string `json:"rules"`
}
