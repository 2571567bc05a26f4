package desk

import (
	"crypto/rand"
	"encoding/hex"
	"slices"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// BoardNow returns the release check's answer for every instrument that is in service at the present instant.
func (v DayView) BoardNow(now unit.Instant) ([]reprocessing.Answer, error) {
	return v.board(now, v.ReleaseNow)
}

// Board returns the release check's answer for every instrument that was in service at an instant of the past; of the
// present minute, and of later, BoardNow does.
func (v DayView) Board(at unit.Instant) ([]reprocessing.Answer, error) {
	if !v.passed(at) {
		return v.BoardNow(max(at, v.Now()))
	}
	return v.board(at, v.Release)
}

// passed says whether an instant lies before the minute that the clock shows.
func (v DayView) passed(at unit.Instant) bool {
	return at < v.Now()-v.Now()%unit.Instant(unit.Minute)
}

func (v DayView) board(at unit.Instant, ask func(tag string, at, known unit.Instant) (reprocessing.Answer, error)) ([]reprocessing.Answer, error) {
	instruments, err := v.Registry().Instruments()
	if err != nil {
		return nil, err
	}
	var answers []reprocessing.Answer
	for _, i := range instruments {
		if i.InService > at || i.Retired.Known() && i.Retired <= at {
			continue
		}
		a, err := ask(i.Tag, at, store.Forever)
		if err != nil {
			return nil, err
		}
		answers = append(answers, a)
	}
	return answers, nil
}

// LastVerifications returns the latest decisions on verifications, the newest first.
func (v DayView) LastVerifications(limit int) ([]reprocessing.Decision, error) {
	var verifications []reprocessing.Decision
	err := v.tx.Lately(record.Verification, limit, func(k store.Kept) error {
		return fold(k, func(d reprocessing.Decision) {
			d.Stamp = stampOf(k)
			verifications = append(verifications, d)
		})
	})
	return verifications, err
}

// Candidates returns the scopes that a selection may pick at an instant: those in service and not away
// for repair, each with its last selection, its process and its failures of the past year.
func (v DayView) Candidates(at unit.Instant) ([]sampling.Candidate, error) {
	instruments, err := v.Registry().Instruments()
	if err != nil {
		return nil, err
	}
	last, err := v.lastSelected(at)
	if err != nil {
		return nil, err
	}
	var candidates []sampling.Candidate
	for _, i := range instruments {
		if i.InService > at || i.Retired.Known() && i.Retired <= at {
			continue
		}
		away, err := v.away(i.Tag, at)
		if err != nil {
			return nil, err
		}
		if away {
			continue
		}
		c, err := v.candidate(i, at)
		if err != nil {
			return nil, err
		}
		c.Last = max(last[i.Tag], i.InService)
		candidates = append(candidates, c)
	}
	return candidates, nil
}

func (v DayView) lastSelected(at unit.Instant) (map[string]unit.Instant, error) {
	selections, err := v.tx.Entities(record.Selection)
	if err != nil {
		return nil, err
	}
	last := map[string]unit.Instant{}
	for _, k := range selections {
		if k.At > at || k.Replaced.Known() {
			continue
		}
		d, err := record.Body[record.SelectionBody](k.Record)
		if err != nil {
			return nil, err
		}
		for _, p := range d.Picks {
			last[p.Scope] = max(last[p.Scope], k.At)
		}
	}
	return last, nil
}

func (v DayView) away(tag string, at unit.Instant) (away bool, err error) {
	err = v.tx.Events(tag, 0, at, store.Forever, func(k store.Kept) error {
		return fold(k, func(r record.RepairBody) { away = away || !r.Returned.Known() || r.Returned > at })
	}, record.Repair)
	return away, err
}

func (v DayView) candidate(i scope.Instrument, at unit.Instant) (sampling.Candidate, error) {
	c := sampling.Candidate{Scope: i.Tag, Process: "manual"}
	m, err := v.modelOf(i.Tag, at)
	if err != nil {
		return c, err
	}
	c.Kind = m.Kind
	last, ok, err := v.tx.LastEvent(i.Tag, record.Step, string(reprocessing.Disinfection), at, store.Forever)
	if err != nil {
		return c, err
	}
	if ok {
		s, err := record.Body[reprocessing.Step](last.Record)
		if err != nil {
			return c, err
		}
		if s.Reprocessor != "" {
			c.Process = s.Reprocessor
		}
	}
	year := at.AddDays(-365, v.Zone())
	err = v.tx.Events(i.Tag, year, at, store.Forever, func(k store.Kept) error {
		return fold(k, func(d reprocessing.Decision) {
			if d.Verification.Outcome == reading.Action {
				c.Failures++
			}
		})
	}, record.Verification)
	return c, err
}

// SelectAtRandom picks scopes for a periodic verification by the rule in force and records the selection with its seed,
// its candidates and its picks, so that it can be repeated. An empty seed is made at random.
func (w *Work) SelectAtRandom(e Entry, seed string) (record.SelectionBody, Receipt, error) {
	if err := w.may(ToSelectAtRandom, &e); err != nil {
		return record.SelectionBody{}, Receipt{}, err
	}
	rules, err := w.Registry().Rules(w.tx.Now, store.Forever)
	if err != nil {
		return record.SelectionBody{}, Receipt{}, err
	}
	if e.By == "" {
		return record.SelectionBody{}, Receipt{}, invalid("who selects?")
	}
	if seed == "" {
		random := make([]byte, 16)
		if _, err := rand.Read(random); err != nil {
			return record.SelectionBody{}, Receipt{}, err
		}
		seed = hex.EncodeToString(random)
	}
	d := record.SelectionBody{Seed: seed, Rule: rules.Sample.Selection}
	if d.Candidates, err = w.Day().Candidates(w.tx.Now); err != nil {
		return d, Receipt{}, err
	}
	if d.Picks, err = sampling.Select(d.Rule, d.Candidates, seed, w.tx.Now, w.Zone()); err != nil {
		return d, Receipt{}, refuse(err)
	}
	r, err := w.append(e, record.Selection, w.tx.Now, d)
	return d, r, err
}

// SelectAgain repeats a recorded selection from what was recorded with it and says whether it picks the same.
func (v DayView) SelectAgain(id string) (d record.SelectionBody, same bool, err error) {
	k, err := v.tx.Find(id)
	if err != nil {
		return d, false, err
	}
	if k.Kind() != record.Selection {
		return d, false, invalid("record %s is %s, not a selection", id, record.Called(k.Kind()))
	}
	if d, err = record.Body[record.SelectionBody](k.Record); err != nil {
		return d, false, err
	}
	picks, err := sampling.Select(d.Rule, d.Candidates, d.Seed, k.At, v.Zone())
	return d, slices.Equal(picks, d.Picks), err
}

// Member is one instrument of the fleet with what follows from its model.
type Member struct {
	Instrument scope.Instrument `json:"instrument"`
	Kind       scope.Kind       `json:"kind"`
	Risk       scope.Risk       `json:"risk"`
	Points     []string         `json:"routine_points"`
}

// Fleet returns every instrument with its model's kind, risk and routine points.
func (v DayView) Fleet() ([]Member, error) {
	instruments, err := v.Registry().Instruments()
	if err != nil {
		return nil, err
	}
	fleet := make([]Member, len(instruments))
	for i, x := range instruments {
		m, err := v.modelOf(x.Tag, v.Now())
		if err != nil {
			return nil, err
		}
		fleet[i] = Member{x, m.Kind, m.Risk, words(m.Routine())}
	}
	return fleet, nil
}

// Guide says how the points of one scope are sampled by the rules in force.
type Guide struct {
	Scope    string       `json:"scope"`
	Model    string       `json:"model"`
	Kind     scope.Kind   `json:"kind"`
	Points   []GuidePoint `json:"points"`
	Shake    unit.Span    `json:"shake"`
	Warnings []string     `json:"warnings,omitempty"`
}

// GuidePoint is one point of a guide.
type GuidePoint struct {
	Kind          scope.PointKind        `json:"point"`
	Routine       bool                   `json:"routine"`
	NotApplicable string                 `json:"not_applicable,omitempty"`
	Area          unit.SquareCentimetres `json:"area_cm2,omitzero"`
	DeadVolume    unit.Millilitres       `json:"dead_volume_ml,omitzero"`
	// Flush is what the protocol sends through the channel to be collected.
	Flush    unit.Millilitres  `json:"flush_ml,omitzero"`
	Protocol sampling.Protocol `json:"protocol"`
	Clocks   []sampling.Clock  `json:"clocks"`
}

// Guide returns how the points of a scope are sampled, with the warnings about its model.
func (v DayView) Guide(tag string) (Guide, error) {
	g := Guide{Scope: tag}
	if _, ok, err := v.tx.Entity(record.Instrument, tag, store.Forever, store.Forever); err != nil {
		return g, err
	} else if !ok {
		return g, notFound("see the fleet with: rinsate fleet", "scope %q is not registered", tag)
	}
	m, err := v.modelOf(tag, v.Now())
	if err != nil {
		return g, err
	}
	if g, err = v.guideOf(m); err == nil {
		g.Scope = tag
	}
	return g, err
}

// guideOf returns how the points of a model are sampled.
func (v DayView) guideOf(m scope.Model) (Guide, error) {
	var g Guide
	rules, err := v.Registry().Rules(v.Now(), store.Forever)
	if err != nil {
		return g, err
	}
	protocols := rules.Sample.ProtocolsFor(m.Name)
	g.Model, g.Kind, g.Shake = m.Name, m.Kind, rules.Sample.Clocks.Shake
	g.Warnings = m.Warnings(sampling.Flushes(protocols))
	for _, p := range m.Points() {
		protocol, ok := sampling.For(protocols, p.Kind)
		if !ok {
			return g, notFound("add one to the rule set", "the rule set has no protocol for %s", p.Kind)
		}
		point := GuidePoint{p.Kind, p.Routine, p.NotApplicable, p.Area, p.DeadVolume, protocol.Flush(), protocol, nil}
		for _, c := range rules.Sample.Clocks.Limits {
			if c.Method == "" || c.Method == protocol.Method {
				point.Clocks = append(point.Clocks, c)
			}
		}
		g.Points = append(g.Points, point)
	}
	return g, nil
}
