package web

import (
	"math"
	"net/http"
	"net/url"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// numbersMayOpen is about charts and signals; see mayOpen. A technician may place
// holds and not see numbers, and so acts on no signal.
var numbersMayOpen = map[string]string{
	"GET /trends":                    "LIQV",
	"GET /trends/{tag}/{point}":      "LIQV",
	"POST /trends/{tag}/{point}":     "LI",
	"GET /signals":                   "LIQV",
	"GET /signals/{signal}":          "LIQV",
	"POST /signals/{signal}/acts":    "LI",
	"POST /signals/{signal}/closing": "LI",
	"POST /signals/{signal}/void":    "LI",
	"GET /failures":                  "LIQV",
}

// numberedScope has a past of readings: those at its outer distal end rise, those at its elevator recess
// stay what they were.
const numberedScope = "D-09"

// The readings of numberedScope: how many there are at each point, a day apart, how many the adopted
// baseline of the outer distal end has, and which is the first one that is higher. With it comes another lot.
const (
	adoptedFrom  = 30
	readingsEach = 62
	firstHigher  = 48
)

// series gives the site series with readings once, looks at them, and returns the id of the signal.
func (b *site) allSeries() string {
	b.Helper()
	known := false
	b.look(func(v desk.View) error {
		keys, err := v.Numbers().Scales(numberedScope, scope.OuterDistalEnd, b.at())
		known = len(keys) > 0
		return err
	})
	if !known {
		b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			return w.SettingUp().
				RegisterInstrument(e, b.at(), scope.Instrument{Tag: numberedScope, Model: duodenoscope.Name, Owner: scope.Own, InService: b.at()})
		})
		err := b.desk.DB.Write(b.Context(), func(tx *store.Tx) error {
			for i := range readingsEach {
				at := b.at().Add(2*time.Hour - time.Duration(readingsEach-i)*24*time.Hour)
				if err := b.measured(tx, scope.OuterDistalEnd, at, i, i >= firstHigher); err != nil {
					return err
				}
				if err := b.measured(tx, scope.ElevatorRecess, at.Add(time.Minute), i+7, false); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		b.do("L-01", func(w *desk.Work, e desk.Entry) (r desk.Receipt, err error) {
			first := desk.Freeze{
				Scopes:   []string{numberedScope},
				Point:    scope.OuterDistalEnd,
				To:       b.at().Add(-(readingsEach - adoptedFrom) * 24 * time.Hour),
				Watching: desk.UsualWatching(),
			}
			frozen, err := w.OnSignals().AdoptCharts(e, first)
			if err == nil && (len(frozen) != 1 || frozen[0].Chart == "") {
				b.Fatalf("the baseline of %s is not adopted: %+v", numberedScope, frozen)
			}
			return r, err
		})
		b.clock.Move(time.Second)
	}
	if err := b.server.LookAtSeries(b.Context()); err != nil {
		b.Fatal(err)
	}
	return string(b.signals(numberedScope)[0].ID)
}

// signals returns the signals of a scope.
func (b *site) signals(tag string) (found []desk.Raised) {
	b.Helper()
	b.look(func(v desk.View) error {
		all, err := v.Numbers().Raised(signalsIn(b.server.outlook()))
		for _, r := range all {
			if r.Series.Scope == tag {
				found = append(found, r)
			}
		}
		return err
	})
	if len(found) == 0 {
		b.Fatalf("%s has no signal", tag)
	}
	return found
}

// measured writes the reading of one cycle, the i-th of its series, and the use before it.
func (b *site) measured(tx *store.Tx, point scope.PointKind, at unit.Instant, i int, higher bool) error {
	b.Helper()
	value, lot := 40*math.Pow(10, 0.2*math.Sin(float64(i*i))), "7"
	if higher {
		value, lot = 4*value, "8"
	}
	put := func(typ record.Kind, at unit.Instant, body any) (ledger.ID, error) {
		id := ledger.DerivedID("test", string(typ), at.String(), string(point))
		_, _, err := tx.Append(store.Draft{Type: typ, ID: id, At: at, By: "T-01", Body: body})
		return id, err
	}
	sample, err := put(record.Sample, at, sampling.Sample{Scope: numberedScope, Point: point, Cleaning: 1, Kit: "K", Lot: lot, By: "T-01", Collected: at})
	if err != nil {
		return err
	}
	v := reading.Value{Analyte: reading.ATP, Unit: reading.RLU, Number: unit.Number(math.Round(value))}
	v.Typed = v.Number.String()
	outcome := reading.OK
	if value > 200 {
		outcome = reading.Action
	}
	_, err = put(record.Reading, at, reading.Reading{
		Sample: string(sample), Scope: numberedScope, Cleaning: 1, Meter: "M-1", Lot: lot, By: "T-01", Value: v, Rules: "test",
		With:      reading.Circumstances{System: "A", Kit: "K", Point: point, Kind: scope.Duodenoscope, At: at},
		Judgement: reading.Judgement{Outcome: outcome, Judged: v, Why: "test"},
	})
	return err
}

// handle does something about a signal as the lead.
func (b *site) handle(r desk.Raised, h trend.Handling) {
	b.Helper()
	h.Signal, h.Identity, h.Begin, h.Last = r.ID, r.Identity, r.Signalled, r.Signalled
	b.clock.Move(time.Second)
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.OnSignals().HandleSignal(e, h) })
}

// numberExamples are the pages about charts and signals; see examples.
func (b *site) numberExamples() []example {
	b.Helper()
	id := b.allSeries()
	series := "/trends/" + numberedScope + "/" + string(scope.OuterDistalEnd)
	trial := series + "?" + url.Values{
		"limits":        {"trial"},
		"false-signals": {"2"},
		"charts":        {"individuals", "moving-range", "cusum"},
		"rules":         {"2"},
		"view":          {"sums"},
		"last":          {"50"},
	}.Encode()
	raised := b.signals(numberedScope)[0]
	if raised.State == trend.LifeNew {
		b.handle(raised, trend.Handling{Act: trend.Seen})
		b.handle(raised, trend.Handling{Act: trend.Explained, Cause: trend.LotCause, Words: awkward})
		hold := b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			return w.Ask(e, sampling.Request{Scope: numberedScope, By: "L-01", Reason: "to see whether the lot is to blame"})
		})
		b.handle(raised, trend.Handling{Act: trend.Linked, Record: hold.Record.ID})
	}
	return []example{
		{"trends", "/trends", "trends", http.StatusOK, access.Lead},
		{"trends, none", "/trends?scope=nothing", "trends", http.StatusOK, access.Auditor},
		{"series", series, "series", http.StatusOK, access.Lead},
		{"series, other limits", trial, "series", http.StatusOK, access.Lead},
		{"series without a baseline", "/trends/" + readyScope + "/" + string(scope.OuterDistalEnd), "series", http.StatusOK, access.Analyst},
		{"signals", "/signals?state=all", "signals", http.StatusOK, access.Lead},
		{"signal", "/signals/" + id, "signal", http.StatusOK, access.Lead},
		{"failures", "/failures", "failures", http.StatusOK, access.Lead},
		{"failures, apart", "/failures?by=day&view=times", "failures", http.StatusOK, access.Analyst},
	}
}
