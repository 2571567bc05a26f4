package demo

import (
	"math"
	"slices"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// The model of readings: log10 RLU is the mean of the kind of point on the scale of the meter system,
// plus what the scope, the person, the lot and the meter add, plus what this cleaning left behind
// (shared by all points of the cycle), plus what this point kept, plus the imprecision of the
// reading, plus the shifts of the stories. All but the mean and the stories are normal with the
// standard deviations below, so that RLU are log-normal.
//
// The means and deviations are set so that about 4 to 8 % of the verifications are over the action level, as
// published for pump-assisted or brushed channels (4.2 % of channels, 3.3 % of colonoscopes; Alfa et
// al., Am J Infect Control 2013;41:249-253), and so that a second cleaning often does not cure.
const (
	scopeDeviation  = 0.05
	personDeviation = 0.04
	lotDeviation    = 0.03
	meterDeviation  = 0.02
	cleaningLeft    = 0.17
	pointKept       = 0.20
	imprecision     = 0.11
	cleanedAgain    = 0.22 // how much a further cleaning takes away
	keptAgain       = 0.6  // how much of what a point kept it keeps through a further cleaning
	dimmerelScale   = -0.52
	passingMargin   = 0.05 // how far below a level the readings stay that must pass, and over it those that must not
)

// means are the mean log10 RLU after manual cleaning on the Palewick scale.
var means = map[scope.PointKind]float64{
	scope.OuterDistalEnd: 1.57, scope.ElevatorRecess: 1.74, scope.InstrumentLumen: 1.68, scope.SuctionLumen: 1.68,
	scope.ElevatorWire: 1.80, scope.AirLumen: 1.52, scope.WaterLumen: 1.52, scope.AuxiliaryLumen: 1.56, scope.BalloonLumen: 1.56,
}

// effects are what scopes, persons, lots and meters add, by their names.
type effects map[string]float64

// circumstances are what a reading is made in.
type circumstances struct {
	scope, person, kit, lot, meter string
	system                         string
	point                          scope.PointKind
	at                             unit.Instant
}

// drawEffects draws the effects of everything that there is, in a fixed order.
func (h *hospital) drawEffects() effects {
	e := effects{}
	for _, s := range h.scopes {
		e["scope "+s.Tag] = h.normal(scopeDeviation)
	}
	e["scope X-01"] = h.normal(scopeDeviation)
	for _, person := range slices.Concat(technicians, leads) {
		e["person "+person] = h.normal(personDeviation)
	}
	for _, system := range []meterSystem{palewick, dimmerel} {
		for _, m := range system.meters {
			e["meter "+m] = h.normal(meterDeviation)
		}
		for day := 0; day <= h.days; day += h.lotDays() {
			lot, _, _ := h.lotAt(system.kit, h.midnight(day))
			e["lot "+lot] = h.normal(lotDeviation)
		}
	}
	return e
}

func (h *hospital) normal(deviation float64) float64 { return h.rng.NormFloat64() * deviation }

// expected returns what a reading in these circumstances is on average, in log10 RLU, and whether a
// story has it pass.
func (h *hospital) expected(c circumstances) (mean float64, passing bool) {
	mean = means[c.point] + h.effects["scope "+c.scope] + h.effects["person "+c.person] + h.effects["lot "+c.lot] + h.effects["meter "+c.meter]
	for _, s := range h.stories {
		if (s.Shift != 0 || s.Passing) && s.covers(c) {
			mean += s.At(c.at)
			passing = passing || s.Passing
		}
	}
	if c.system == dimmerel.name {
		mean += dimmerelScale
	}
	return mean, passing
}

// draw returns the RLU of a reading: residue is what the cleaning and the point left, push what a story
// adds to this cleaning, which is then over the action level, and tame says that it must pass.
func (h *hospital) draw(c circumstances, residue, push float64, tame bool) int {
	mean, passing := h.expected(c)
	x := mean + residue + push + h.normal(imprecision)
	level := h.levelOf(c.system, c.point)
	switch {
	case tame:
		x = min(x, math.Log10(float64(level.Alert))-2*passingMargin)
	case push > 0:
		x = max(x, math.Log10(float64(level.Action))+passingMargin)
	case passing:
		x = min(x, math.Log10(float64(level.Action))-passingMargin)
	}
	return int(math.Round(math.Pow(10, x)))
}
