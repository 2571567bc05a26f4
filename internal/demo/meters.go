package demo

import (
	"math"
	"slices"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
)

// metering is what is done about the meters of a hospital.
type metering struct{ *hospital }

func (h *hospital) metering() metering { return metering{h} }

// The materials that meters are checked with. The limits of the light cell are the manufacturer's,
// half a decade either way: so wide that a meter may drift within them for months.
const (
	lightCell     = "light cell"
	emptyChamber  = "empty chamber"
	cellLight     = 1000
	cellLow       = 300
	cellHigh      = 3000
	mostBlank     = 10
	cellDeviation = 0.02 // of log10 RLU, day by day
	checkHour     = 6.0
)

// targets are what the controls of a meter system should show.
func (h metering) targets(s meterSystem) []quality.Target {
	target := quality.Target{
		System: s.name, Kind: quality.Positive, Material: lightCell, Low: cellLow, High: cellHigh,
		Source: s.name + " meter manual (invented)", Edition: "1", Adopter: leads[0], Adopted: h.hour(unit.At(h.begin), 5.5),
	}
	blank := target
	blank.Kind, blank.Material, blank.Low, blank.High = quality.Blank, emptyChamber, 0, mostBlank
	return []quality.Target{target, blank}
}

// checkMeters plans the morning's check of every meter.
func (h metering) checkMeters(midnight unit.Instant) {
	for i, m := range slices.Concat(palewick.meters, dimmerel.meters) {
		at := h.hour(midnight, checkHour).Add(time.Duration(i) * 4 * time.Minute)
		if at < unit.At(h.begin).Add(time.Hour) {
			continue
		}
		h.checkMeter(m, at, 0, "")
	}
}

// checkMeter plans one check of a meter; push is added to log10 of the light.
func (h metering) checkMeter(meter string, at unit.Instant, push float64, serviced string) {
	by := technicians[at.Time().In(h.zone).YearDay()%len(technicians)]
	light := math.Log10(cellLight) + h.effects["meter "+meter] + h.checks.NormFloat64()*cellDeviation + push
	for _, s := range h.stories {
		if s.Shift != 0 && s.Meter == meter && at >= s.From && at < s.To {
			light += s.At(at)
		}
	}
	check := desk.Check{Meter: meter, Serviced: serviced, Controls: []quality.Control{
		{Kind: quality.Positive, Material: lightCell, Value: unit.Number(math.Round(math.Pow(10, light))), At: at},
		{Kind: quality.Blank, Material: emptyChamber, Value: unit.Number(h.checks.IntN(4)), At: at.Add(40 * time.Second)},
	}}
	e := h.entry(by)
	h.add(check.Controls[1].At, 20*time.Second, func(w *desk.Work) error {
		r, _, err := w.AtMeters().CheckMeter(e, check)
		if err := h.count(r, err); err != nil {
			return err
		}
		for _, f := range r.Followed {
			if record.KindOf(f) != record.Hold {
				continue
			}
			hold, err := record.Body[reprocessing.Hold](f)
			if err != nil {
				return err
			}
			h.doubted[hold.Scope] = append(h.doubted[hold.Scope], f.ID)
		}
		return nil
	})
}

// plantLimits lets a lead freeze the limits of the control charts, and again when there are more
// readings to rest them on. What had a signal by then keeps its limits.
func (h metering) plantLimits() {
	adopt := func(fraction float64, freeze desk.Freeze) {
		at := h.hour(h.at(fraction), 13)
		freeze.Watching = desk.UsualWatching()
		e := h.entry(leads[1])
		h.add(at, 0, func(w *desk.Work) error {
			freeze.To = w.Now()
			_, err := w.OnSignals().AdoptCharts(e, freeze)
			return err
		})
	}
	adopt(limitsAdopted, desk.Freeze{})
	revised := desk.Freeze{Anew: true}
	for _, s := range h.scopes {
		if s.Tag != h.telling().story(RepairCures).Scope {
			revised.Scopes = append(revised.Scopes, s.Tag)
		}
	}
	adopt(limitsRevised, revised)
}

// settle lets a lead lift the holds of uses that began over readings which a failed check has put in doubt, once their
// scope has gone through everything again.
func (h metering) settle(t *cycle) {
	t.add(t.at, func(w *desk.Work) error {
		open, err := w.OpenHolds(t.Tag, w.Now())
		if err != nil {
			return err
		}
		for _, id := range h.doubted[t.Tag] {
			i := slices.IndexFunc(open, func(x reprocessing.Hold) bool { return x.ID == string(id) })
			if i < 0 {
				continue // an answer to the doubt took it back
			}
			by, second := leads[0], ""
			if open[i].Of() == reprocessing.ExposureHold {
				by, second = infectionPrevention, leads[0]
			}
			if err := h.count(w.LiftHold(h.entry(by), reprocessing.Lift{
				Hold: string(id), At: t.recorded, By: by, Second: second,
				Reason: "reprocessed and sampled again on a meter that passed; only the meter had been in doubt",
			})); err != nil {
				return err
			}
		}
		delete(h.doubted, t.Tag)
		return nil
	})
	t.free = max(t.free, t.recorded.Add(time.Minute))
}

// plantFailedCheck lets the only meter of its system fail its morning check. What was read since the
// day before is in doubt, so every scope whose last verification rests on it is sampled again before it is
// used.
func (h metering) plantFailedCheck() {
	meter := dimmerel.meters[0]
	morning := h.hour(h.at(checkFails), checkHour-0.5)
	good := morning.Add(25 * time.Minute)
	story := h.telling().mark(Story{
		Name:  FailedCheck,
		Meter: meter,
		From:  morning,
		To:    good,
		What: "the light of M-3 was far too low one morning because its chamber was dirty: readings since the day before are in doubt, and scopes that " +
			"rested on them were sampled again",
	})
	h.telling().on(morning, func(unit.Instant) {
		h.checkMeter(meter, morning, math.Log10(0.12), "")
		h.checkMeter(meter, good, 0, "chamber cleaned")
		yesterday := h.hour(morning.AddDays(-1, h.zone), checkHour)
		for _, s := range h.scopes {
			if h.serviceOf(s.Model).system.name != dimmerel.name || s.passed < yesterday || s.free > h.today || s.InService > morning {
				continue
			}
			t := h.travel(s, max(good.Add(10*time.Minute), s.free.Add(10*time.Minute)))
			t.tame = true
			t.arrive()
			h.settle(t)
			h.stories[story].Scopes = append(h.stories[story].Scopes, s.Tag)
		}
	})
}
