package desk

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Paper takes over while the computer is down. A list on paper cannot hear of anything: so it holds only what waits where
// nobody gets at it without opening a door, only to the end of a shift, and everything that is taken out is struck.

// The lengths of a shift for which a list can be printed (common practice).
const (
	UsualShift = 8
	MostShift  = 12
)

// ShiftList is what is ready and hangs in a closed cabinet, for a shift without the computer.
type ShiftList struct {
	Site string `json:"site"`
	// Printed is the instant of the answers, Until when the list ends.
	Printed unit.Instant `json:"printed"`
	Until   unit.Instant `json:"until"`
	// Size and Root are the place of the ledger by which it was true.
	Size     int64          `json:"size"`
	Root     string         `json:"root"`
	Rules    string         `json:"rules"`
	Cabinets []ShiftCabinet `json:"cabinets"`
	// Elsewhere are ready scopes that hang in no closed cabinet and so are not on the list.
	Elsewhere []string `json:"elsewhere"`
	// Doubt says why nothing at all is ready, where that is so for a reason that is none of a scope.
	Doubt string `json:"doubt,omitempty"`
}

// ShiftCabinet is a cabinet with what hangs in it.
type ShiftCabinet struct {
	Cabinet string       `json:"cabinet"`
	Scopes  []ShiftScope `json:"scopes"`
}

// ShiftScope is a scope on the list.
type ShiftScope struct {
	Scope  string     `json:"scope"`
	Model  string     `json:"model"`
	Kind   scope.Kind `json:"kind"`
	Serial string     `json:"serial,omitempty"`
	// Until is the earlier of the end of its own time and of the shift.
	Until unit.Instant `json:"until"`
	// Stored is since when it hangs there, Record which record says so.
	Stored unit.Instant `json:"stored"`
	Record string       `json:"record"`
}

// Count returns how many scopes are on the list.
func (l ShiftList) Count() (n int) {
	for _, c := range l.Cabinets {
		n += len(c.Scopes)
	}
	return n
}

// ShiftList returns what is ready at the present instant and hangs in a closed cabinet, for so many hours.
func (v DayView) ShiftList(now unit.Instant, hours int) (ShiftList, error) {
	l := ShiftList{Site: v.desk.DB.Site().Name, Printed: now, Cabinets: []ShiftCabinet{}, Elsewhere: []string{}}
	if hours < 1 || hours > MostShift {
		return l, invalid("a list for a shift is valid for 1 to %d hours, not for %d", MostShift, hours)
	}
	l.Until = now.Add(time.Duration(hours) * time.Hour)
	head, err := store.HeadNow(v.tx)
	if err != nil {
		return l, err
	}
	l.Size, l.Root = head.Size, head.Root.String()
	rules, err := v.Registry().Rules(now, store.Forever)
	if err != nil {
		return l, err
	}
	l.Rules = rules.Name + ", edition " + rules.Edition
	if doubt, err := v.ClockDoubted(now); err != nil {
		return l, err
	} else if doubt != nil {
		l.Doubt = doubt.Why
	}
	site, err := v.People().Opening(store.Forever)
	if err != nil {
		return l, err
	}
	l.Doubt = cmp.Or(v.desk.Doubt(), l.Doubt, site.Why(now))
	board, err := v.BoardNow(now)
	if err != nil {
		return l, err
	}
	for _, a := range board {
		if a.State != reprocessing.Ready {
			continue
		}
		s, cabinet, err := v.closedIn(a, rules, now)
		if err != nil {
			return l, err
		}
		if cabinet == "" {
			l.Elsewhere = append(l.Elsewhere, a.Scope)
			continue
		}
		if s.Until = l.Until; a.Until.Known() {
			s.Until = min(s.Until, a.Until)
		}
		i := slices.IndexFunc(l.Cabinets, func(c ShiftCabinet) bool { return c.Cabinet == cabinet })
		if i < 0 {
			i = len(l.Cabinets)
			l.Cabinets = append(l.Cabinets, ShiftCabinet{Cabinet: cabinet})
		}
		l.Cabinets[i].Scopes = append(l.Cabinets[i].Scopes, s)
	}
	slices.SortFunc(l.Cabinets, func(a, b ShiftCabinet) int { return cmp.Compare(a.Cabinet, b.Cabinet) })
	return l, nil
}

// closedIn returns the cabinet in which a ready scope hangs by what is on record, empty where it hangs in none: it was
// stored in one of the rule set since it was reprocessed, and nothing on record has taken it out; or two people have signed
// that it hangs in one.
func (v DayView) closedIn(a reprocessing.Answer, rules policy.RuleSet, now unit.Instant) (s ShiftScope, cabinet string, err error) {
	since, cabinet, id, err := v.hangs(a, now)
	if err != nil || !slices.ContainsFunc(rules.Reprocessing.Cabinets, func(c reprocessing.Cabinet) bool { return c.Name == cabinet }) {
		return s, "", err
	}
	i, _, err := edition[scope.Instrument](v.View, record.Instrument, a.Scope, store.Forever, store.Forever)
	if err != nil {
		return s, "", err
	}
	m, err := v.modelOf(a.Scope, now)
	return ShiftScope{Scope: a.Scope, Model: i.Model, Kind: m.Kind, Serial: i.Serial, Stored: since, Record: id}, cabinet, err
}

// hangs returns since when and where a ready scope hangs, by which record; no record where none says so.
func (v DayView) hangs(a reprocessing.Answer, now unit.Instant) (since unit.Instant, cabinet, id string, err error) {
	if a.StockTake != "" {
		kept, err := v.tx.Record(ledger.ID(a.StockTake))
		if err != nil {
			return 0, "", "", err
		}
		t, err := record.Body[reprocessing.StockTake](kept.Record)
		return t.At, t.Cabinet, a.StockTake, err
	}
	stored, ok, err := v.tx.LastEvent(a.Scope, record.Step, string(reprocessing.Storage), now, store.Forever)
	if err != nil || !ok {
		return 0, "", "", err
	}
	step, err := record.Body[reprocessing.Step](stored.Record)
	if err != nil || step.End.Known() || step.Result == reprocessing.Fail || step.Start < a.Cycle {
		return 0, "", "", err
	}
	// Whatever was done with it since took it out, also where nobody has written that down.
	if slices.ContainsFunc(a.Steps, func(p reprocessing.Progress) bool {
		return p.Step != reprocessing.Storage && p.Step != reprocessing.Issue && p.Step != reprocessing.Verification && max(p.Start, p.End) > step.Start
	}) {
		return 0, "", "", nil
	}
	if out, ok, err := v.tx.LastEvent(a.Scope, record.Step, string(reprocessing.Issue), now, store.Forever); err != nil || ok && out.At >= step.Start {
		return 0, "", "", err
	}
	return step.Start, step.Cabinet, string(stored.ID), nil
}

// Blanks is what forms for a time without the computer are made of: the words of the rule set in force.
type Blanks struct {
	Site    string       `json:"site"`
	Printed unit.Instant `json:"printed"`
	Rules   string       `json:"rules"`
	// Steps are those of the cycle in order, without the cleaning verification, which has a form of its own.
	Steps []BlankStep `json:"steps"`
	// Cabinets and Disinfectants are as the rule set names them.
	Cabinets      []string      `json:"cabinets"`
	Disinfectants []string      `json:"disinfectants"`
	Models        []BlankModel  `json:"models"`
	Clocks        []string      `json:"clocks"`
	Holds         []BlankChoice `json:"holds"`
	Emergencies   []BlankChoice `json:"emergencies"`
}

// BlankStep is a step on a form.
type BlankStep struct {
	Step reprocessing.StepKind `json:"step"`
	// Asks says what the rule asks of it, such as "at least 5 min".
	Asks     string `json:"asks,omitempty"`
	Required bool   `json:"required"`
	// Result says that it passes or fails.
	Result bool `json:"result"`
}

// BlankModel is a model with the points that are sampled of it.
type BlankModel struct {
	Model  string   `json:"model"`
	Points []string `json:"points"`
}

// BlankChoice is one of several things to tick: the word that files have for it, and what people read.
type BlankChoice struct {
	Value string `json:"value"`
	Words string `json:"words"`
}

// Blanks returns what forms are made of by the rules in force.
func (v DayView) Blanks(now unit.Instant) (Blanks, error) {
	b := Blanks{Site: v.desk.DB.Site().Name, Printed: now}
	rules, err := v.Registry().Rules(now, store.Forever)
	if err != nil {
		return b, err
	}
	b.Rules = rules.Name + ", edition " + rules.Edition
	for _, r := range rules.Reprocessing.Steps {
		switch r.Step { //nolint:exhaustive // these have forms of their own
		case reprocessing.Verification, reprocessing.Storage, reprocessing.Issue:
			continue
		}
		b.Steps = append(b.Steps, BlankStep{Step: r.Step, Asks: asks(r), Required: r.Required, Result: r.Step.HasResult()})
	}
	for _, c := range rules.Reprocessing.Cabinets {
		b.Cabinets = append(b.Cabinets, c.Name)
	}
	for _, d := range rules.Reprocessing.Disinfectants {
		b.Disinfectants = append(b.Disinfectants, d.Name)
	}
	for _, c := range rules.Sample.Clocks.Limits {
		b.Clocks = append(b.Clocks, fmt.Sprintf("%s: within %s after it was %s", c.Name, c.Within, c.From))
	}
	if b.Models, err = v.blankModels(now); err != nil {
		return b, err
	}
	for _, k := range reprocessing.HoldKinds {
		b.Holds = append(b.Holds, BlankChoice{string(k), k.Words()})
	}
	for _, r := range reprocessing.EmergencyReasons {
		b.Emergencies = append(b.Emergencies, BlankChoice{string(r), r.Words()})
	}
	return b, nil
}

// blankModels returns the models of which a scope is in service, with the points that are sampled routinely.
func (v DayView) blankModels(now unit.Instant) (models []BlankModel, err error) {
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return nil, err
	}
	for _, i := range fleet {
		gone := i.InService > now || i.Retired.Known() && i.Retired <= now
		if gone || slices.ContainsFunc(models, func(m BlankModel) bool { return m.Model == i.Model }) {
			continue
		}
		m, err := v.modelOf(i.Tag, now)
		if err != nil {
			return nil, err
		}
		b := BlankModel{Model: i.Model}
		for _, p := range m.Points() {
			if p.Routine && p.NotApplicable == "" {
				b.Points = append(b.Points, p.Kind.Words())
			}
		}
		models = append(models, b)
	}
	slices.SortFunc(models, func(a, b BlankModel) int { return cmp.Compare(a.Model, b.Model) })
	return models, nil
}

// asks says in a few words what a rule asks of a step.
func asks(r reprocessing.StepRule) string {
	words := ""
	if r.AtLeast > 0 {
		words = fmt.Sprintf("at least %s", r.AtLeast)
	}
	if r.Within > 0 {
		if words != "" {
			words += ", "
		}
		after := "the use"
		if r.From != "" {
			after = r.From.Words()
		}
		words += fmt.Sprintf("within %s after %s", r.Within, after)
	}
	return words
}
