package desk

import (
	"encoding/json"
	"fmt"
	"strings"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
)

// Grounds is what the adoption of a level rests on: how it was derived and what it would have done.
type Grounds struct {
	From       unit.Instant      `json:"from"`
	To         unit.Instant      `json:"to"`
	Derivation *level.Derivation `json:"derivation,omitempty"`
	// Excluded counts all exclusions by their reason; the derivation lists the first of them.
	Excluded map[string]int `json:"excluded,omitempty"`
	Method   level.Method   `json:"method,omitempty"`
	Replay   *level.Replay  `json:"replay,omitempty"`
	// Verifications names the changes that the replay lists.
	Verifications []ChangedVerification `json:"verifications,omitempty"`
	// ReplayFrom is from when on the past was replayed, when that is later than From.
	ReplayFrom unit.Instant `json:"replay_from,omitzero"`
	// SampleMinutes and CleaningMinutes are what the replay counts with.
	SampleMinutes   unit.Number      `json:"sample_minutes,omitzero"`
	CleaningMinutes unit.Number      `json:"cleaning_minutes,omitzero"`
	Reference       *level.Reference `json:"reference,omitempty"`
	// Unlinked counts cultures that the judgement leaves out, since no reading lies before them.
	Unlinked int    `json:"cultures_unlinked,omitempty"`
	Note     string `json:"note,omitempty"`
}

// mostListed is how many exclusions are listed in a record, which has a bounded size.
const mostListed = 100

// Tally counts the exclusions of a derivation by their reasons.
func Tally(d level.Derivation) map[string]int {
	count := map[string]int{}
	for _, x := range d.Excluded {
		reason, _, _ := strings.Cut(x.Why, ":")
		count[reason]++
	}
	return count
}

// AdoptDerived records a level with the grounds that it rests on.
func (w SignalWork) AdoptDerived(e Entry, l reading.Level, g Grounds) (Receipt, error) {
	if err := w.may(ToAdoptDerived, &e); err != nil {
		return Receipt{}, err
	}
	if err := mayBeLevel(w.Work, ToAdoptDerived, e, &l); err != nil {
		return Receipt{}, err
	}
	same := func(x record.LevelBody) bool {
		return x.Key() == l.Key() && x.Alert == l.Alert && x.Action == l.Action && x.Comparison == l.Comparison && x.Source == l.Source &&
			x.Edition == l.Edition &&
			x.Adopter == l.Adopter
	}
	if r, ok, err := again(w.Work, e.ID, record.Level, same); ok || err != nil {
		return r, err // the grounds may have changed since
	}
	if g.Derivation != nil {
		d := *g.Derivation
		g.Excluded = Tally(d)
		d.Excluded = d.Excluded[:min(len(d.Excluded), mostListed)]
		g.Derivation = &d
	}
	text, err := json.Marshal(g)
	if err != nil {
		return Receipt{}, fmt.Errorf("write the grounds of the level: %w", err)
	}
	return w.append(e, record.Level, min(l.Adopted, w.tx.Now), record.LevelBody{Level: l, Derivation: text})
}

// groundChanges is how many verifications whose outcome changes a record lists.
const groundChanges = 20

// Grounds computes what the adoption of a level rests on: the derivation, the replay over the same time
// and, with cultures, what they say of the level.
func (v LevelsView) Grounds(l reading.Level, s Study, c Costs, cultures []Culture) (Grounds, error) {
	d, err := v.Study(s)
	if err != nil {
		return Grounds{}, err
	}
	return v.GroundsOf(d, l, s, c, cultures)
}

// GroundsOf is Grounds for what a study gave.
func (v LevelsView) GroundsOf(d Studied, l reading.Level, s Study, c Costs, cultures []Culture) (Grounds, error) {
	g := Grounds{
		From: d.From, To: d.To, Derivation: &d.Derivation,
		SampleMinutes: unit.Number(c.SampleMinutes), CleaningMinutes: unit.Number(c.CleaningMinutes),
	}
	past, err := v.LatestPast(d.From, d.To, s.MostReplayed, c.SampleMinutes, cultures)
	if err != nil {
		return g, err
	}
	if past.Begin > d.From {
		g.ReplayFrom = past.Begin
	}
	c.MostChanges = groundChanges
	replay, err := v.Replay(past, l, c)
	if err != nil {
		return g, err
	}
	g.Replay, g.Verifications = &replay, past.Changed(replay)
	if len(cultures) == 0 {
		return g, nil
	}
	var pairs []level.Pair
	pairs, g.Unlinked = past.Pairs(s.Plan.Target, cultures)
	r, err := Discriminate(pairs, l, s.Plan.Confidence, stats.Probability{})
	if err != nil {
		return g, err
	}
	g.Reference = &r
	return g, nil
}

// Discriminate says how well readings and a level tell culture-positive scopes from others; prevalence
// is the share of positive scopes in the facility, not given when it is not known.
func Discriminate(pairs []level.Pair, l reading.Level, c stats.Confidence, prevalence stats.Probability) (level.Reference, error) {
	r, err := level.Discriminate(pairs, level.Question{Level: l, Confidence: c, Prevalence: prevalence, Resamples: 1999, Seed: "best cut"})
	return r, refuse(err)
}
