package desk

import (
	"fmt"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// Readings is a file of samples and readings.
const Readings Kind = "readings"

var fileOfReadings = fileKind{
	kind: Readings, about: "a sample and, when it has a value, its reading",
	needs: needs(access.RecordStep, access.VoidRecord),
	columns: []table.Field{
		textColumn("id", "the sender's own id of the row"),
		required(textColumn("scope", "asset tag")),
		required(wordColumn("point", words(scope.PointKinds), "sampling point")),
		{Name: "cleaning", Kind: table.KindInt, Help: "which cleaning of the cycle it was taken after, 1 for the first; without it counted"},
		textColumn("not_applicable", "why the point was not sampled; it stays missing, only the model takes a point away"),
		textColumn("kit", "name of the kit"),
		textColumn("lot", "lot number"),
		textColumn("person", "who sampled"),
		required(timeColumn("collected", "when the sample was taken")),
		timeColumn("capped", "when its container was closed"),
		timeColumn("uncapped", "when it was opened"),
		timeColumn("dipped", "when the device was dipped"),
		timeColumn("activated", "when the device was activated"),
		numberColumn("shaken_s", "how long it was shaken, seconds"),
		timeColumn("read", "when it was read"),
		numberColumn("flushed_ml", "volume flushed"),
		numberColumn("recovered_ml", "volume recovered"),
		textColumn("meter", "code of the meter"),
		textColumn("system", "meter system, where meters are not registered (check only)"),
		wordColumn(
			"analyte",
			words(reading.Analytes),
			"what is measured; without it atp",
		),
		wordColumn("unit", words(reading.Units), "unit; without it the analyte's usual one"),
		textColumn("value", "the value as shown"),
	},
	example: `id,scope,point,cleaning,not_applicable,kit,lot,person,collected,capped,uncapped,dipped,activated,shaken_s,read,` +
		`flushed_ml,recovered_ml,meter,system,analyte,unit,value
,D-01,outer-distal-end,,,example-kit,A17,T-01,2026-03-02T09:23:00+01:00,,,,2026-03-02T09:24:00+01:00,6,2026-03-02T09:24:20+01:00,,,M-1,,,,41
`,
	whole: (*intake).readings,
}

func (in *intake) readings(t *table.Table) error {
	charts, err := in.tx.Entities(record.Chart)
	if err != nil {
		return err
	}
	if len(charts) > 0 { // without limits there is nothing to look at
		in.touched = touched{}
	}
	c := newSampleColumns(t)
	for t.Next() && in.ctx.Err() == nil {
		bad := t.Faults()
		s, ok := c.row()
		if !ok || t.Faults() != bad {
			continue
		}
		if err := in.reading(&c, s, t.Line()); err != nil {
			problem(c.scope, err)
		}
	}
	return nil
}

// reading stores the sample of one row and, when there is a value, its reading.
func (in *intake) reading(c *sampleColumns, s sampled, line int) error {
	in.kept, in.ids = "", nil
	own := c.id.Text()
	key := []string{s.sample.Scope, string(s.sample.Point), s.sample.Collected.String()}
	sample := Entry{ID: in.id(own, key...), By: s.sample.By}
	if own != "" {
		sample.ID = in.id(own+" sample", key...)
	}
	taken, err := in.Collect(sample, s.sample)
	if err != nil {
		return err
	}
	if !s.hasValue {
		if !taken.Fresh {
			if err := in.unlessTakenBack(line, nil); err != nil {
				return err
			}
		}
		in.told(line, taken.Fresh, "sample of %s at %s%s", s.sample.Scope, s.sample.Point, in.kept)
		return nil
	}
	s.in.Sample = taken.Record.ID
	e := Entry{ID: in.id(own, append(key, string(s.in.Value.Analyte), s.in.At.String())...), By: s.sample.By}
	receipt, err := in.Read(e, s.in)
	if err != nil {
		return err
	}
	if !receipt.Fresh {
		if err := in.unlessTakenBack(line, nil); err != nil {
			return err
		}
	}
	if in.touched != nil && receipt.Fresh {
		if err := in.touched.add(receipt.Record); err != nil {
			return err
		}
	}
	if in.file.Tell == nil {
		in.told(line, receipt.Fresh, "")
		return nil
	}
	x, err := record.Body[reading.Reading](receipt.Record)
	if err != nil {
		return err
	}
	text := fmt.Sprintf("%s of %s: %s, %s", s.sample.Point, s.sample.Scope, s.in.Value, x.Judgement.Outcome)
	then := make([]string, len(receipt.Followed))
	for i, r := range receipt.Followed {
		then[i] = ", then " + r.Type
	}
	in.told(line, receipt.Fresh, "%s%s%s", text, strings.Join(then, ""), in.kept)
	return nil
}

// sampleColumns reads rows of readings; the handles are looked up once, since such files are long.
type sampleColumns struct {
	id, scope, point, cleaning, notApplicable, kit, lot, person, collected, capped, uncapped, dipped, activated, shaken, read,
	flushed, recovered, meter, system, analyte, unit, value table.Column
}

func newSampleColumns(t *table.Table) sampleColumns {
	f := t.Field
	return sampleColumns{
		f("id"), f("scope"), f("point"), f("cleaning"), f("not_applicable"), f("kit"), f("lot"), f("person"), f("collected"), f("capped"), f("uncapped"),
		f("dipped"), f("activated"), f("shaken_s"), f("read"), f("flushed_ml"), f("recovered_ml"), f("meter"), f("system"), f("analyte"), f("unit"), f("value"),
	}
}

// maxCleaning is the largest number of a cleaning that is believed.
const maxCleaning = 99

// sampled is one row of a file of readings.
type sampled struct {
	sample sampling.Sample
	in     Reading
	system string
	// hasValue is false for a sample that was taken and not read.
	hasValue bool
}

func (c *sampleColumns) row() (s sampled, ok bool) {
	s.sample = sampling.Sample{
		Scope:         c.scope.Text(),
		Point:         scope.PointKind(c.point.Word()),
		NotApplicable: c.notApplicable.Text(),
		Kit:           c.kit.Text(),
		Lot:           c.lot.Text(),
		By:            c.person.Text(),
		Collected:     c.collected.Time(),
		Capped:        c.capped.Time(),
		Uncapped:      c.uncapped.Time(),
		Dipped:        c.dipped.Time(),
		Activated:     c.activated.Time(),
		Shaken:        unit.Span(float64(c.shaken.Number()) * float64(unit.Second)),
		Flushed:       unit.Millilitres(c.flushed.Number()),
		Recovered:     unit.Millilitres(c.recovered.Number()),
	}
	if c.cleaning.Has() {
		s.sample.Cleaning = c.cleaning.Int(1, maxCleaning)
	}
	s.in.Meter, s.system = c.meter.Text(), c.system.Text()
	s.in.At = c.read.Time()
	if !c.value.Has() {
		if s.sample.NotApplicable == "" && c.read.Has() {
			c.value.Reject("the sample was read, yet the value is missing")
			return s, false
		}
		return s, true
	}
	s.hasValue = true
	a, u := usual(c.analyte.Word(), c.unit.Word())
	typed := c.value.Text()
	text := typed
	if a != reading.ATP && a != reading.Strip { // light units are whole numbers and strips are words
		text = c.value.Number().String()
	}
	var err error
	if s.in.Value, err = reading.ParseValue(a, u, text); err != nil {
		c.value.Reject(err.Error())
		return s, false
	}
	s.in.Value.Typed = typed
	if !s.in.At.Known() {
		c.read.Reject("the value is there, yet when it was read is missing")
		return s, false
	}
	return s, true
}
