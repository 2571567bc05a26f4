package desk

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

func words[T ~string](values []T) []string {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = string(v)
	}
	return texts
}

// results are the words for a step's or a check's result.
var results = []string{"pass", "fail"}

// Columns describes the columns of a kind of file.
func Columns(kind Kind) []table.Field {
	text := func(name, help string) table.Field { return table.Field{Name: name, Kind: table.KindText, Help: help} }
	number := func(name, help string) table.Field {
		return table.Field{Name: name, Kind: table.KindNumber, Help: help}
	}
	moment := func(name, help string) table.Field { return table.Field{Name: name, Kind: table.KindTime, Help: help} }
	yes := func(name, help string) table.Field { return table.Field{Name: name, Kind: table.KindBool, Help: help} }
	word := func(name string, allowed []string, help string) table.Field {
		return table.Field{Name: name, Kind: table.KindWord, Allowed: allowed, Help: help}
	}
	must := func(f table.Field) table.Field {
		f.Required = true
		return f
	}
	switch kind {
	case Models:
		return []table.Field{
			must(text("model", "name of the model; one row for each of its channels")),
			must(word("kind", words(scope.Kinds), "kind of scope")),
			word("risk", []string{"high", "standard"}, "risk class; without it that of the kind"),
			yes("elevator", "whether the distal end has an elevator"),
			must(number("outer_diameter_mm", "outer diameter of the distal end")),
			must(number("sampled_length_mm", "length of the distal end that a surface sample covers")),
			must(word("channel", words(scope.ChannelKinds), "the channel of this row")),
			must(number("diameter_mm", "inner diameter of the channel")),
			must(number("length_mm", "length of the channel, port to tip")),
			text("port", "where fluid goes in"),
			yes("brushable", "whether a brush passes"), yes("flushable", "whether it can be flushed"),
			yes("sealed", "whether the user cannot flush it"),
			text("cleaning", "the act of manual cleaning that reaches the channel"),
			text("instructions", "the manufacturer's document and edition"),
		}
	case Fleet:
		return []table.Field{
			must(text("tag", "asset tag")), text("serial", "serial number"), text("barcode", "barcode text (UDI)"),
			must(text("model", "name of the model")), word("owner", words(scope.Owners), "whose it is; without it own"),
			text("location", "where it is kept"), must(moment("in_service", "since when it is here")), moment("retired", "when it left for good"),
		}
	case People:
		return []table.Field{must(text("person", "code of the person; no names")), text("role", "what the person does")}
	case Meters:
		return []table.Field{
			must(text("meter", "code of the meter")),
			must(text("system", "meter system; all meters of a system count on one scale")),
			text("serial", "serial number"),
		}
	case Lots:
		return []table.Field{
			must(text("kit", "name of the kit")), must(text("lot", "lot number")),
			must(moment("expires", "first instant at which it must not be used")), moment("recalled", "since when it is recalled"),
		}
	case Levels:
		return []table.Field{
			must(text("system", "meter system")),
			must(text("kit", "name of the kit")),
			must(word("point", words(scope.PointKinds), "sampling point")),
			word("kind", words(scope.Kinds), "kind of scope; without it all"),
			word(
				"analyte",
				words(reading.Analytes),
				"what is measured; without it atp",
			),
			word("unit", words(reading.Units), "unit; without it the analyte's usual one"),
			number("alert", "alert level, reached by a value at or over it"),
			number("action", "action level"),
			word("comparison", []string{string(reading.Over), string(reading.AtOrOver)}, "when a value exceeds the action level; without it at-or-over, but for strips"),
			number("cv", "coefficient of variation of single readings, as a fraction"),
			text("clean", "a strip's words for clean, separated by |"),
			text("dirty", "a strip's words for dirty, separated by |"),
			must(text("source", "where the level comes from")),
			must(text("edition", "edition of the source")),
			must(text("adopted_by", "who adopted it")),
			must(moment("adopted", "since when it judges")),
		}
	case Targets:
		return []table.Field{
			must(text("system", "meter system")), text("meter", "one meter only; without it every meter of the system"),
			must(word("kind", words(quality.ControlKinds), "kind of control")), must(text("material", "what is read")), text("lot", "its lot"),
			number("low", "lower limit in RLU (positive controls)"), number("high", "upper limit in RLU"),
			must(text("source", "where the target comes from")), must(text("edition", "edition of the source")),
			must(text("adopted_by", "who adopted it")), must(moment("adopted", "since when it judges")),
		}
	case Checks:
		return []table.Field{
			text("id", "the sender's own id of the row"), must(text("meter", "code of the meter")), must(moment("at", "when it was read")),
			must(text("person", "who read it")), text("serviced", "what was done to the meter just before"),
			number("positive", "reading of the positive control in RLU"), text("positive_material", "what was read: MATERIAL or MATERIAL/LOT"),
			number("negative", "reading of the negative control in RLU"), text("negative_material", "what was read: MATERIAL or MATERIAL/LOT"),
			number("blank", "reading of the blank control in RLU"), text("blank_material", "what was read: MATERIAL or MATERIAL/LOT"),
		}
	case Uses:
		return []table.Field{
			text("id", "the sender's own id of the row"), must(text("scope", "asset tag")), must(moment("start", "start of the procedure")),
			moment("end", "end of the procedure"), text("procedure", "kind of procedure"), text("room", "room"),
			text("patient", "the facility's number of the patient; kept outside the ledger"), text("person", "who records it"),
		}
	case Repairs:
		return []table.Field{
			text("id", "the sender's own id of the row"), must(text("scope", "asset tag")), must(moment("sent", "when it went")),
			moment("returned", "when it came back"), text("fault", "what was wrong"), text("work", "what was done"), text("person", "who records it"),
		}
	case Steps:
		return []table.Field{
			text("id", "the sender's own id of the row"),
			must(text("scope", "asset tag")),
			must(word("step", recordedSteps(), "the step")),
			must(moment("start", "start")),
			moment("end", "end"),
			text("person", "who did it"),
			word("result", results, "how it ended"),
			text("note", "remark"),
			text("delayed", "what was done because cleaning began late"),
			text(
				"disinfectant",
				"disinfectant or sterilant, as named in the rule set",
			),
			text("disinfectant_lot", "its lot"),
			moment("disinfectant_expires", "when the lot or the solution expires"),
			word("mec", results, "check of the minimum effective concentration"),
			number("coldest_cel", "lowest temperature over the contact time, °C"),
			number("contact_min", "contact time in minutes"),
			text("reprocessor", "reprocessor (AER, EWD)"),
			text("cycle_number", "number of its cycle"),
			text("cabinet", "cabinet, as named in the rule set"),
			text("procedure", "what an issued scope is meant for"),
		}
	case Readings:
		return []table.Field{
			text("id", "the sender's own id of the row"),
			must(text("scope", "asset tag")),
			must(word("point", words(scope.PointKinds), "sampling point")),
			{Name: "cleaning", Kind: table.KindInt, Help: "which cleaning of the cycle it was taken after, 1 for the first; without it counted"},
			text("not_applicable", "why the point was not sampled"),
			text("kit", "name of the kit"),
			text("lot", "lot number"),
			text("person", "who sampled"),
			must(moment("collected", "when the sample was taken")),
			moment("capped", "when its container was closed"),
			moment("uncapped", "when it was opened"),
			moment("dipped", "when the device was dipped"),
			moment("activated", "when the device was activated"),
			number("shaken_s", "how long it was shaken, seconds"),
			moment("read", "when it was read"),
			number("flushed_ml", "volume flushed"),
			number("recovered_ml", "volume recovered"),
			text("meter", "code of the meter"),
			text("system", "meter system, where meters are not registered (check only)"),
			word(
				"analyte",
				words(reading.Analytes),
				"what is measured; without it atp",
			),
			word("unit", words(reading.Units), "unit; without it the analyte's usual one"),
			text("value", "the value as shown"),
		}
	}
	return nil
}

func recordedSteps() []string {
	return words(slices.DeleteFunc(slices.Clone(reprocessing.StepKinds), func(k reprocessing.StepKind) bool { return k == reprocessing.Verification }))
}

// ReadModels reads a whole file of models. Rows of one model need not stand together, but must
// agree on everything except the channel.
func ReadModels(t *table.Table) []scope.Model {
	col := func(name string) table.Column { return t.Field(name) }
	byName := map[string]int{}
	var models []scope.Model
	for t.Next() {
		m := scope.Model{
			Name: col("model").Text(), Kind: scope.Kind(col("kind").Word()), Risk: scope.Risk(col("risk").Word()), Elevator: col("elevator").Bool(),
			OuterDiameter: unit.Millimetres(col("outer_diameter_mm").Number()), SampledLength: unit.Millimetres(col("sampled_length_mm").Number()),
			Instructions: col("instructions").Text(),
		}
		if m.Risk == "" {
			m.Risk = scope.UsualRisk(m.Kind)
		}
		c := scope.Channel{
			Kind: scope.ChannelKind(
				col("channel").Word(),
			),
			Diameter: unit.Millimetres(col("diameter_mm").Number()),
			Length:   unit.Millimetres(col("length_mm").Number()),
			Port: col(
				"port",
			).Text(),
			Brushable: col("brushable").Bool(),
			Flushable: col("flushable").Bool(),
			Sealed:    col("sealed").Bool(),
			Cleaning:  col("cleaning").Text(),
		}
		i, seen := byName[m.Name]
		if !seen {
			i = len(models)
			byName[m.Name] = i
			models = append(models, m)
		}
		old := &models[i]
		if old.Kind != m.Kind || old.Risk != m.Risk || old.Elevator != m.Elevator || old.OuterDiameter != m.OuterDiameter ||
			old.SampledLength != m.SampledLength {
			col("model").Reject("this row and an earlier one of the same model disagree on kind, risk, elevator or distal end")
		}
		old.Channels = append(old.Channels, c)
		if err := old.Check(); err != nil {
			col("channel").Reject(err.Error())
			old.Channels = old.Channels[:len(old.Channels)-1]
		}
		if len(models) > maxModels {
			col("model").Reject(fmt.Sprintf("more than %d models in one file", maxModels))
			break
		}
	}
	return models
}

// maxModels bounds what a file of models may fill the memory with.
const maxModels = 10_000

// row reads the rows of one kind of file. Cells that are wrong are collected in the table.
type row struct {
	t   *table.Table
	col map[string]table.Column
}

func newRow(t *table.Table, kind Kind) row {
	r := row{t, map[string]table.Column{}}
	for _, f := range Columns(kind) {
		r.col[f.Name] = t.Field(f.Name)
	}
	return r
}

func (r row) instrument() scope.Instrument {
	i := scope.Instrument{
		Tag: r.col["tag"].Text(), Serial: r.col["serial"].Text(), Barcode: r.col["barcode"].Text(), Model: r.col["model"].Text(),
		Owner: scope.Owner(r.col["owner"].Word()), Location: r.col["location"].Text(), InService: r.col["in_service"].Time(), Retired: r.col["retired"].Time(),
	}
	if i.Owner == "" {
		i.Owner = scope.Own
	}
	return i
}

func (r row) person() record.PersonBody {
	return record.PersonBody{Code: r.col["person"].Text(), Role: r.col["role"].Text()}
}

func (r row) meter() quality.Meter {
	return quality.Meter{Code: r.col["meter"].Text(), System: r.col["system"].Text(), Serial: r.col["serial"].Text()}
}

func (r row) lot() quality.Lot {
	return quality.Lot{Kit: r.col["kit"].Text(), Lot: r.col["lot"].Text(), Expires: r.col["expires"].Time(), Recalled: r.col["recalled"].Time()}
}

func (r row) level() reading.Level {
	l := reading.Level{
		System: r.col["system"].Text(), Kit: r.col["kit"].Text(), Point: scope.PointKind(r.col["point"].Word()), Kind: scope.Kind(r.col["kind"].Word()),
		Alert: r.col["alert"].Number(), Action: r.col["action"].Number(), Comparison: reading.Comparison(r.col["comparison"].Word()), CV: r.col["cv"].Number(),
		Clean: list(r.col["clean"].Text()), Dirty: list(r.col["dirty"].Text()),
		Source: r.col["source"].Text(), Edition: r.col["edition"].Text(), Adopter: r.col["adopted_by"].Text(), Adopted: r.col["adopted"].Time(),
	}
	l.Analyte, l.Unit = r.analyte()
	if l.Comparison == "" && l.Analyte != reading.Strip {
		l.Comparison = reading.AtOrOver // the stricter one: what a file leaves unsaid is never good
	}
	return l
}

func (r row) target() quality.Target {
	return quality.Target{
		System: r.col["system"].Text(), Meter: r.col["meter"].Text(), Kind: quality.ControlKind(r.col["kind"].Word()),
		Material: r.col["material"].Text(), Lot: r.col["lot"].Text(), Low: r.col["low"].Number(), High: r.col["high"].Number(),
		Source: r.col["source"].Text(), Edition: r.col["edition"].Text(), Adopter: r.col["adopted_by"].Text(), Adopted: r.col["adopted"].Time(),
	}
}

// check reads the controls of a row, each with its material.
func (r row) check() Check {
	c := Check{Meter: r.col["meter"].Text(), Serviced: r.col["serviced"].Text()}
	at, person := r.col["at"].Time(), r.col["person"].Text()
	for _, kind := range quality.ControlKinds {
		value, material := r.col[string(kind)], r.col[string(kind)+"_material"]
		if !value.Has() {
			continue
		}
		if !material.Has() {
			material.Reject("which material was read?")
		}
		x := quality.Control{Kind: kind, Value: value.Number(), At: at, Person: person}
		x.Material, x.Lot, _ = strings.Cut(material.Text(), "/")
		c.Controls = append(c.Controls, x)
	}
	if len(c.Controls) == 0 {
		r.col["positive"].Reject("the row has no control: give positive, negative or blank")
	}
	return c
}

func list(text string) []string {
	var parts []string
	for p := range strings.SplitSeq(text, "|") {
		if p = strings.ToLower(strings.TrimSpace(p)); p != "" {
			parts = append(parts, p)
		}
	}
	return parts
}

func (r row) analyte() (reading.Analyte, reading.Unit) {
	return usual(r.col["analyte"].Word(), r.col["unit"].Word())
}

// usual fills in ATP where no analyte is given and the analyte's usual unit where none is.
func usual(analyte, inUnit string) (reading.Analyte, reading.Unit) {
	a, u := reading.Analyte(analyte), reading.Unit(inUnit)
	if a == "" {
		a = reading.ATP
	}
	if units := reading.UnitsOf(a); u == "" && len(units) > 0 {
		u = units[0]
	}
	return a, u
}

func (r row) use() reprocessing.Use {
	return reprocessing.Use{
		Scope:     r.col["scope"].Text(),
		Start:     r.col["start"].Time(),
		End:       r.col["end"].Time(),
		Procedure: r.col["procedure"].Text(),
		Room:      r.col["room"].Text(),
	}
}

func (r row) repair() scope.Repair {
	return scope.Repair{
		Scope:    r.col["scope"].Text(),
		Sent:     r.col["sent"].Time(),
		Returned: r.col["returned"].Time(),
		Fault:    r.col["fault"].Text(),
		Work:     r.col["work"].Text(),
	}
}

func (r row) step() reprocessing.Step {
	return reprocessing.Step{
		Scope:               r.col["scope"].Text(),
		Kind:                reprocessing.StepKind(r.col["step"].Word()),
		Start:               r.col["start"].Time(),
		End:                 r.col["end"].Time(),
		By:                  r.col["person"].Text(),
		Result:              reprocessing.Result(r.col["result"].Word()),
		Note:                r.col["note"].Text(),
		Delayed:             r.col["delayed"].Text(),
		Disinfectant:        r.col["disinfectant"].Text(),
		DisinfectantLot:     r.col["disinfectant_lot"].Text(),
		DisinfectantExpires: r.col["disinfectant_expires"].Time(),
		MEC:                 reprocessing.Result(r.col["mec"].Word()),
		Coldest:             unit.Celsius(r.col["coldest_cel"].Number()),
		HasTemperature:      r.col["coldest_cel"].Has(),
		Contact: unit.Span(
			float64(r.col["contact_min"].Number()) * float64(unit.Minute),
		),
		Reprocessor: r.col["reprocessor"].Text(),
		CycleNumber: r.col["cycle_number"].Text(),
		Cabinet:     r.col["cabinet"].Text(),
		Procedure:   r.col["procedure"].Text(),
	}
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

// problem turns an error of an act into one about the present line.
func problem(c table.Column, err error) {
	text := err.Error()
	if e, ok := errors.AsType[*fault.Error](err); ok {
		text = e.Message
		if e.Hint != "" {
			text += " (" + e.Hint + ")"
		}
	}
	c.Reject(text)
}
