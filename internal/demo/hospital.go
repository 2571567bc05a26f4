package demo

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

const zoneName = "Europe/Berlin"

func (h *hospital) site() record.SiteBody {
	return record.SiteBody{Code: "DEMO", Name: "Quillmoor Hospital (invented)", Zone: zoneName, Origin: "quillmoor.example/demo"}
}

// The people, by code.
var (
	technicians = []string{"T-01", "T-02", "T-03", "T-04", "T-05", "T-06", "T-07", "T-08", "T-09", "T-10"}
	nurses      = []string{"N-01", "N-02"}
	leads       = []string{"L-01", "L-02"}
)

const infectionPrevention = "H-01"

// meterSystem is a system of meters with the kit that it reads, and how many days a lot of the kit
// lasts. The kit's surface and rinsate devices share a name.
type meterSystem struct {
	name, kit, series string
	meters            []string
}

var (
	palewick = meterSystem{"Palewick", "Palewick P", "P", []string{"M-1", "M-2"}}
	dimmerel = meterSystem{"Dimmerel", "Dimmerel R", "R", []string{"M-3"}}
)

// service is a kind of procedure with its scopes.
type service struct {
	procedure, room string
	models          []string
	// weekday is how many there are on an ordinary working day.
	weekday           float64
	shortest, longest time.Duration
	system            meterSystem
	cabinet           string
	disinfectants     []disinfectant
}

// disinfectant is a way of disinfection by the rule set, with how many days a solution is in use: one less than it may be.
type disinfectant struct {
	name, series, reprocessor string
	contact                   unit.Span
	warm                      float64
	days                      int
}

var (
	reprocessorOne = disinfectant{"opa-0.55-reprocessor", "OM", "W-1", 5 * unit.Minute, 25.4, 13}
	reprocessorTwo = disinfectant{"peracetic-3100-3400-ppm", "PA", "W-2", 7 * unit.Minute, 20.6, 4}
	basin          = disinfectant{"opa-0.55", "OB", "", 12 * unit.Minute, 20.5, 13}
)

// equip sets up the fleet, the services and the levels.
func (h *hospital) equip() {
	const m = time.Minute
	gi := []disinfectant{reprocessorOne, reprocessorTwo}
	h.services = []service{
		{"ERCP", "Room 1", []string{"Marrow D2", "Marrow D4"}, 5.9, 40 * m, 75 * m, palewick, "drying-cabinet", gi},
		{"endosonography", "Room 1", []string{"Marrow L3"}, 3.4, 30 * m, 55 * m, palewick, "drying-cabinet", gi},
		{"gastroscopy", "Room 3", []string{"Quillet G1"}, 7.8, 10 * m, 25 * m, palewick, "drying-cabinet", gi},
		{"colonoscopy", "Room 2", []string{"Quillet C1"}, 6.3, 20 * m, 45 * m, palewick, "drying-cabinet", gi},
		{"bronchoscopy", "Room 5", []string{"Wherrit B2"}, 4.8, 15 * m, 35 * m, dimmerel, "drying-cabinet", []disinfectant{reprocessorTwo}},
		{"endobronchial ultrasound", "Room 5", []string{"Wherrit N1"}, 1.5, 30 * m, 50 * m, dimmerel, "ventilated-cabinet", []disinfectant{reprocessorTwo}},
		{"cystoscopy", "Room 7", []string{"Pottle Y1"}, 3.5, 8 * m, 20 * m, dimmerel, "ventilated-cabinet", []disinfectant{basin}},
	}
	since := unit.At(h.begin)
	for _, group := range []struct {
		letter, model string
		first, last   int
	}{
		{"D", "Marrow D2", 1, 3},
		{"D", "Marrow D4", 4, 6},
		{"E", "Marrow L3", 1, 3},
		{"G", "Quillet G1", 1, 5},
		{"C", "Quillet C1", 1, 4},
		{"B", "Wherrit B2", 1, 4},
		{"U", "Wherrit N1", 1, 2},
		{"Y", "Pottle Y1", 1, 3},
	} {
		for n := group.first; n <= group.last; n++ {
			h.instrument(fmt.Sprintf("%s-%02d", group.letter, n), group.model, scope.Own, h.hour(since, 6))
		}
	}
	h.levels = map[levelKey]reading.Level{}
	for _, point := range scope.PointKinds {
		h.levels[levelKey{palewick.name, point}] = h.level(palewick, point, 100, 200, 0)
		h.levels[levelKey{dimmerel.name, point}] = h.level(dimmerel, point, 30, 60, 0.1)
	}
}

func (h *hospital) level(s meterSystem, point scope.PointKind, alert, action, cv unit.Number) reading.Level {
	return reading.Level{
		System: s.name, Kit: s.kit, Point: point, Analyte: reading.ATP, Unit: reading.RLU, Alert: alert, Action: action, CV: cv,
		Comparison: reading.Over, Source: "baseline of the invented hospital", Edition: "1", Adopter: leads[0], Adopted: h.hour(unit.At(h.begin), 5.5),
	}
}

// models are the invented models. Diameters and lengths are typical of their kinds; no real model is
// meant.
func models() []scope.Model {
	brushed := func(diameter, length unit.Millimetres) scope.Channel {
		return scope.Channel{
			Kind: scope.InstrumentChannel, Diameter: diameter, Length: length, Port: "instrument port",
			Brushable: true, Flushable: true, Cleaning: "flush, brush, flush",
		}
	}
	flushed := func(kind scope.ChannelKind, diameter, length unit.Millimetres, port string) scope.Channel {
		return scope.Channel{Kind: kind, Diameter: diameter, Length: length, Port: port, Flushable: true, Cleaning: "flush with the channel adapter"}
	}
	air, water := flushed(scope.AirChannel, 1, 2800, "air pipe"), flushed(scope.WaterChannel, 1, 2800, "water pipe")
	sealed := scope.Channel{Kind: scope.ElevatorWireChannel, Diameter: 0.85, Length: 1500, Sealed: true}
	model := func(name string, kind scope.Kind, outer unit.Millimetres, elevator bool, channels ...scope.Channel) scope.Model {
		return scope.Model{
			Name: name, Kind: kind, Risk: scope.UsualRisk(kind), Elevator: elevator, OuterDiameter: outer, SampledLength: 100,
			Channels: channels, Instructions: name + " reprocessing manual (invented), edition 2",
		}
	}
	return []scope.Model{
		model("Marrow D2", scope.Duodenoscope, 13.5, true, brushed(4.2, 1350),
			flushed(scope.ElevatorWireChannel, 0.85, 1500, "elevator-wire port"), air, water),
		model("Marrow D4", scope.Duodenoscope, 13.7, true, brushed(4.2, 1350), sealed, air, water),
		model("Marrow L3", scope.LinearEchoscope, 14.2, true, brushed(3.7, 1350), sealed, air, water,
			flushed(scope.BalloonChannel, 1, 2800, "balloon port")),
		model("Quillet G1", scope.Gastroscope, 9.8, false, brushed(2.8, 1100), air, water),
		model("Quillet C1", scope.Colonoscope, 12.8, false, brushed(3.7, 1750), air, water,
			flushed(scope.AuxiliaryChannel, 1, 3700, "auxiliary port")),
		model("Wherrit B2", scope.Bronchoscope, 5.9, false, brushed(2.8, 650)),
		model("Wherrit N1", scope.EBUS, 6.7, false, brushed(2.2, 700)),
		model("Pottle Y1", scope.Cystoscope, 5.4, false, brushed(2.2, 450)),
	}
}

// instrument adds an endoscope to the hospital; register records it.
func (h *hospital) instrument(tag, model string, owner scope.Owner, since unit.Instant) *endoscope {
	all := models()
	m := all[slices.IndexFunc(all, func(m scope.Model) bool { return m.Name == model })]
	s := &endoscope{
		Instrument: scope.Instrument{
			Tag: tag, Serial: serialOf(h, tag[:1]), Model: model, Owner: owner,
			Location: h.serviceOf(model).cabinet, InService: since,
		},
		model: m, free: since, expires: store.Forever, reserved: store.Forever, passed: since, unsampled: store.Forever,
	}
	h.scopes = append(h.scopes, s)
	return s
}

// serialOf is a serial number that no other endoscope of the hospital has.
func serialOf(h *hospital, series string) string {
	for n := 20000 + h.rng.IntN(9000); ; n++ {
		text := fmt.Sprintf("%s%05d", series, n)
		if !slices.ContainsFunc(h.scopes, func(s *endoscope) bool { return s.Serial == text }) {
			return text
		}
	}
}

func (h *hospital) register(at unit.Instant, s *endoscope) {
	e := h.entry(leads[0])
	h.add(at, 0, func(w *desk.Work) error { return h.count(w.SettingUp().RegisterInstrument(e, at, s.Instrument)) })
}

func (h *hospital) scope(tag string) *endoscope {
	return h.scopes[slices.IndexFunc(h.scopes, func(s *endoscope) bool { return s.Tag == tag })]
}

func (h *hospital) serviceOf(model string) service {
	return h.services[slices.IndexFunc(h.services, func(s service) bool { return slices.Contains(s.models, model) })]
}

// lotDays is how many days a lot of a kit lasts: about ten lots in the whole time.
func (h *hospital) lotDays() int { return max(1, (h.days+9)/10) }

// dayOf counts calendar days of the zone since the begin; a day on which clocks are set counts as one.
func (h *hospital) dayOf(at unit.Instant) int {
	date := func(t time.Time) time.Time {
		y, m, d := t.In(h.zone).Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	}
	return max(0, int(date(at.Time()).Sub(date(h.begin))/(24*time.Hour)))
}

// lotAt returns the lot of a kit in use at an instant, and from when to when it is.
func (h *hospital) lotAt(kit string, at unit.Instant) (lot string, from, to unit.Instant) {
	series := palewick.series
	if kit == dimmerel.kit {
		series = dimmerel.series
	}
	days := h.lotDays()
	n := h.dayOf(at) / days
	return fmt.Sprintf("%s%03d", series, 411+7*n), h.midnight(n * days), h.midnight((n + 1) * days)
}

// solution returns the lot of a disinfectant in use at an instant, when it was filled in, and when it must not be used any
// more.
func (h *hospital) solution(a disinfectant, at unit.Instant) (lot string, filled, expires unit.Instant) {
	n := h.dayOf(at) / a.days
	return fmt.Sprintf("%s-%03d", a.series, 101+n), h.midnight(n * a.days), h.midnight((n+1)*a.days + 1)
}

// runs counts the runs of each reprocessor.
type runs map[string]int

// next returns the number of the next run, empty for a basin.
func (r runs) next(a disinfectant) string {
	if a.reprocessor == "" {
		return ""
	}
	r[a.reprocessor]++
	return strconv.Itoa(4100 + r[a.reprocessor])
}

// onDuty returns the technicians who may take a scope at an instant: two thirds in the day, in shifts
// that change by the week, and one at night.
func (h *hospital) onDuty(at unit.Instant) string {
	t := at.Time().In(h.zone)
	leave := at >= h.at(leaveBegins) && at < h.at(leaveEnds)
	_, week := t.ISOWeek()
	var there []string
	for i, person := range technicians {
		if leave && person == h.telling().story(AfterLeave).Person {
			continue
		}
		early, late := (i+week)%3 != 0, (i+week)%3 != 1
		if hour := t.Hour(); hour >= 6 && (hour < 14 && early || hour >= 12 && hour < 21 && late) {
			there = append(there, person)
		}
	}
	if len(there) == 0 || t.Weekday() == time.Saturday || t.Weekday() == time.Sunday {
		return technicians[(t.YearDay()*3)%6]
	}
	return there[h.rng.IntN(len(there))]
}

// edits turn the general rule set into the hospital's own.
var edits = []struct {
	find *regexp.Regexp
	text string
}{
	{regexp.MustCompile(`(?m)^name: .*$`), "name: Quillmoor rule set"},
	{regexp.MustCompile(`(?m)^edition: .*$`), `edition: "3"`},
	{regexp.MustCompile(`(?m)^note: .*$`), "note: Made from the general rule set for an invented hospital. Not for use."},
	{regexp.MustCompile(`uses: \d+, days: \d+`), fmt.Sprintf("uses: %d, days: %d", periodicUses, periodicDays)},
}

// The hospital's limits of periodic sampling, and how many cleanings a cycle has.
const (
	periodicUses = 25
	periodicDays = 14
	cleanings    = 3
)

func rules() ([]byte, error) {
	text := policy.Preset()
	for _, e := range edits {
		if len(e.find.FindAll(text, -1)) != 1 {
			return nil, fmt.Errorf("demo: the general rule set does not have one %s", e.find)
		}
		text = e.find.ReplaceAllLiteral(text, []byte(e.text))
	}
	parsed, err := policy.Parse("quillmoor.yaml", text)
	if err == nil && parsed.Reading.Cleanings != cleanings {
		err = fmt.Errorf("demo: the general rule set has %d cleanings, not %d", parsed.Reading.Cleanings, cleanings)
	}
	return text, err
}

// open plans what is recorded before the first day: rules, models, fleet, people, meters, levels; the
// lots come one after another.
func (h *hospital) open() {
	start := h.instant()
	lead := func(do func(*desk.Work, desk.Entry) error) {
		e := h.entry(leads[0])
		h.add(start, 0, func(w *desk.Work) error { return do(w, e) })
	}
	lead(func(w *desk.Work, e desk.Entry) error {
		text, err := rules()
		if err == nil {
			_, _, err = w.SettingUp().AdoptRules(e, desk.Adoption{At: start, Name: "quillmoor.yaml", Text: text})
		}
		return err
	})
	roles := map[byte]string{'T': "technician", 'N': "procedure room", 'L': "lead", 'H': "infection prevention"}
	for _, code := range slices.Concat(technicians, nurses, leads, []string{infectionPrevention}) {
		lead(func(w *desk.Work, e desk.Entry) error {
			return h.count(w.SettingUp().RegisterPerson(e, start, record.PersonBody{Code: code, Role: roles[code[0]]}))
		})
	}
	for _, m := range models() {
		lead(func(w *desk.Work, e desk.Entry) error {
			_, _, err := w.SettingUp().RegisterModel(e, start, m)
			return err
		})
	}
	for _, system := range []meterSystem{palewick, dimmerel} {
		for _, code := range system.meters {
			lead(func(w *desk.Work, e desk.Entry) error {
				return h.count(w.SettingUp().RegisterMeter(e, start, quality.Meter{Code: code, System: system.name, Serial: system.series + code}))
			})
		}
		for _, target := range h.metering().targets(system) {
			lead(func(w *desk.Work, e desk.Entry) error { return h.count(w.AtMeters().RegisterTarget(e, target)) })
		}
		for _, point := range scope.PointKinds {
			lead(func(w *desk.Work, e desk.Entry) error {
				return h.count(w.SettingUp().AdoptLevel(e, h.levelOf(system.name, point)))
			})
		}
		for day := 0; day <= h.days; day += h.lotDays() {
			arrives := max(start, h.hour(h.midnight(day-3), 9))
			h.arrival(system.kit, arrives, h.midnight(day))
		}
	}
	// For its first day paper decides.
	e := desk.Entry{ID: ledger.DerivedID("demo", strconv.FormatUint(h.options.Seed, 10), "start"), By: leads[0]}
	h.add(start.Add(24*time.Hour), 0, func(w *desk.Work) error { return h.count(w.SettingUp().SignStart(e, infectionPrevention)) })
	for i, s := range h.scopes {
		h.register(s.InService, s)
		h.telling().on(s.InService.Add(time.Hour+time.Duration(i)*6*time.Minute), func(at unit.Instant) { h.travel(s, at).arrive() })
	}
}

// arrival records a new lot and, when the bad one was used up, its recall.
func (h *hospital) arrival(kit string, at, use unit.Instant) {
	code, _, to := h.lotAt(kit, use)
	lot := quality.Lot{Kit: kit, Lot: code, Expires: to.AddDays(60+h.rng.IntN(60), h.zone)}
	record := func(at unit.Instant, lot quality.Lot) {
		e := h.entry(leads[1])
		h.add(at, 0, func(w *desk.Work) error { return h.count(w.SettingUp().RegisterLot(e, at, lot)) })
	}
	record(at, lot)
	if bad := h.telling().story(BadLot); kit == bad.Kit && code == bad.Lot {
		lot.Recalled = h.hour(bad.To, 8)
		record(lot.Recalled, lot)
	}
}
