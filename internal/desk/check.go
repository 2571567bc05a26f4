package desk

import (
	"fmt"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/wire/table"
)

// Checker judges readings against a fleet, levels and rules that come from files; it stores nothing.
type Checker struct {
	models map[string]scope.Model
	fleet  map[string]scope.Instrument
	meters map[string]quality.Meter
	lots   map[string]quality.Lot
	levels []reading.Level
	rules  policy.RuleSet
	// prepared holds what every line needs of its model, by the model's name.
	prepared map[string]preparedModel
}

type preparedModel struct {
	kind   scope.Kind
	points map[scope.PointKind]scope.Point
	flush  map[scope.PointKind]unit.Millilitres
}

// NewChecker returns a checker by a rule set, without a fleet and without levels yet.
func NewChecker(rules policy.RuleSet) *Checker {
	return &Checker{
		models: map[string]scope.Model{}, fleet: map[string]scope.Instrument{},
		meters: map[string]quality.Meter{}, lots: map[string]quality.Lot{}, rules: rules, prepared: map[string]preparedModel{},
	}
}

// Load reads one file of models, fleet, meters, lots or levels.
func (c *Checker) Load(kind Kind, t *table.Table) error {
	switch kind { //nolint:exhaustive // nothing else says anything about the outcome of a reading
	case Models:
		for _, m := range ReadModels(t) {
			c.models[m.Name] = m
			p := preparedModel{m.Kind, make(map[scope.PointKind]scope.Point), sampling.Flushes(c.rules.Sample.ProtocolsFor(m.Name))}
			for _, point := range m.Points() {
				p.points[point.Kind] = point
			}
			c.prepared[m.Name] = p
		}
		return t.Err()
	case Fleet, Meters, Lots, Levels:
	default:
		return invalid("a check needs no file of %s", kind)
	}
	r := newRow(t, Columns(kind))
	for t.Next() {
		var err error
		anchor := ""
		switch kind { //nolint:exhaustive // the others are dealt with above
		case Fleet:
			i, _ := r.instrument()
			anchor, err = "model", i.Check()
			if _, ok := c.models[i.Model]; err == nil && !ok {
				err = fmt.Errorf("model %q is not in the file of models", i.Model)
			}
			c.fleet[i.Tag] = i
		case Meters:
			m := r.meter()
			anchor, err = "meter", m.Check()
			c.meters[m.Code] = m
		case Lots:
			l := r.lot()
			anchor, err = "lot", l.Check()
			c.lots[l.Kit+"|"+l.Lot] = l
		case Levels:
			l := r.level()
			anchor, err = "system", l.Check()
			c.levels = append(c.levels, l)
		}
		if err != nil && t.Faults() == 0 {
			r.col[anchor].Reject(err.Error())
		}
	}
	return t.Err()
}

// Checked is the judgement of one line of readings.
type Checked struct {
	Line    int             `json:"line"`
	Scope   string          `json:"scope"`
	Kind    scope.Kind      `json:"kind"`
	Point   scope.PointKind `json:"point"`
	Value   reading.Value   `json:"value"`
	Outcome reading.Outcome `json:"outcome"`
	Near    bool            `json:"near,omitempty"`
	Why     string          `json:"why"`
}

// Check judges every line of a file of readings and passes it on, in the order of the file. Lines
// that are wrong are collected in the error; the other lines are judged all the same. A line without
// a reading, and a point that is not applicable, is passed over. Reading ahead goes on in a second
// goroutine, which has ended when Check returns.
func (c *Checker) Check(t *table.Table, tell func(*Checked) error) error {
	batches := make(chan []assay, 2)
	stop := make(chan struct{})
	go func() {
		defer close(batches)
		c.readAhead(t, batches, stop)
	}()
	err := c.judgeAll(batches, tell)
	close(stop)
	for range batches { //nolint:revive // wait until the reader has let go of the table
	}
	if err != nil {
		return err
	}
	return t.Err()
}

// assay is a line with everything that its judgement needs.
type assay struct {
	line   int
	sample sampling.Sample
	in     Reading
	system string
	kind   scope.Kind
	point  scope.Point
	flush  unit.Millilitres
	fault  string
}

// assays is how many lines are handed over together.
const assays = 256

func (c *Checker) readAhead(t *table.Table, batches chan<- []assay, stop <-chan struct{}) {
	columns := newSampleColumns(t)
	batch := make([]assay, 0, assays)
	hand := func() bool {
		select {
		case batches <- batch:
			batch = make([]assay, 0, assays)
			return true
		case <-stop:
			return false
		}
	}
	for t.Next() {
		before := t.Faults()
		s, ok := columns.row()
		if !ok || t.Faults() != before || !s.hasValue {
			continue
		}
		x, err := c.resolve(s)
		if err != nil {
			columns.scope.Reject(err.Error())
			continue
		}
		x.line = t.Line()
		if batch = append(batch, x); len(batch) == assays && !hand() {
			return
		}
	}
	if len(batch) > 0 {
		hand()
	}
}

func (c *Checker) judgeAll(batches <-chan []assay, tell func(*Checked) error) error {
	for batch := range batches {
		for _, x := range batch {
			j := Assess(x.sample, x.in, x.system, x.kind, x.point, x.flush, c.rules, c.levels, x.fault).Judgement
			out := Checked{
				Line: x.line, Scope: x.sample.Scope, Kind: x.kind, Point: x.sample.Point,
				Value: j.Judged, Outcome: j.Outcome, Near: j.Near, Why: j.Why,
			}
			if err := tell(&out); err != nil {
				return err
			}
		}
	}
	return nil
}

// resolve looks up what a line refers to.
func (c *Checker) resolve(s sampled) (assay, error) {
	i, ok := c.fleet[s.sample.Scope]
	if !ok {
		return assay{}, fmt.Errorf("scope %q is not in the file of the fleet", s.sample.Scope)
	}
	model := c.prepared[i.Model]
	point, ok := model.points[s.sample.Point]
	if !ok {
		return assay{}, fmt.Errorf("model %s has no sampling point %q; it has: %s", i.Model, s.sample.Point, pointsOf(c.models[i.Model]))
	}
	system := s.system
	if m, ok := c.meters[s.in.Meter]; ok {
		if system != "" && system != m.System {
			return assay{}, fmt.Errorf("meter %s belongs to system %q, the line says %q", s.in.Meter, m.System, system)
		}
		system = m.System
	}
	if system == "" && s.in.Value.Analyte != reading.Strip {
		return assay{}, fmt.Errorf("meter %q is not in the file of meters and the line names no system, so nobody can say on which scale it counts", s.in.Meter)
	}
	var fault string
	if lot, ok := c.lots[s.sample.Kit+"|"+s.sample.Lot]; ok {
		fault = lot.Fault(max(kitUsed(s.sample), s.in.At))
	} else if len(c.lots) > 0 {
		fault = fmt.Sprintf("lot %q of kit %q is not in the file of lots", s.sample.Lot, s.sample.Kit)
	}
	if s.sample.Cleaning == 0 {
		s.sample.Cleaning = 1
	}
	if s.sample.Lot == "" && len(c.lots) == 0 {
		s.sample.Lot = "not stated"
	}
	flush := model.flush[s.sample.Point]
	sample, err := s.sample.Set(sampling.Read, s.in.At)
	return assay{sample: sample, in: s.in, system: system, kind: model.kind, point: point, flush: flush, fault: fault}, err
}
