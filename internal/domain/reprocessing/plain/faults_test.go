package plain_test

import (
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
)

// fault is a class of hazard: how a careful history is spoilt, false where it does not fit.
type fault struct {
	class string
	spoil func(m *maker) bool
}

// faults are done to the facts of a history, before anything is decided on its samples.
var faults = []fault{
	{"step missing", func(m *maker) bool {
		i := m.someStep()
		m.h.Steps = slices.Delete(m.h.Steps, i, i+1)
		return true
	}},
	{"step late", func(m *maker) bool {
		m.shift(m.h.Steps[m.someStep()].Start, m.between(5*minute, 6*hour))
		return true
	}},
	{"steps out of order", func(m *maker) bool {
		i := m.someStep()
		if i+1 >= len(m.h.Steps) {
			return false
		}
		a, b := &m.h.Steps[i], &m.h.Steps[i+1]
		a.Start, b.Start, a.End, b.End = b.Start, a.Start, b.End, a.End
		return true
	}},
	{"no time", func(m *maker) bool {
		s := &m.h.Steps[m.someStep()]
		s.End, s.Contact = s.Start, 0
		return true
	}},
	{"no time, then done", func(m *maker) bool {
		i := m.someStep()
		s := m.h.Steps[i]
		s.End, s.Stamp = s.Start, m.stamp("empty step", s.Start)
		m.shift(s.Start, m.between(minute, 5*hour))
		m.h.Steps = append(m.h.Steps, s)
		return true
	}},
	{"too short", func(m *maker) bool {
		s := &m.h.Steps[m.someStep()]
		s.End = s.Start + m.between(second, 9*minute)
		s.Contact = min(s.Contact, unit.Span(s.End-s.Start))
		return true
	}},
	{"failed", func(m *maker) bool {
		m.h.Steps[m.someStep()].Result = reprocessing.Fail
		return true
	}},
	{"failed and repeated", func(m *maker) bool {
		s := m.h.Steps[m.someStep()]
		s.Result, s.Stamp = reprocessing.Fail, m.stamp("failed step", max(s.Start, s.End))
		m.shift(s.Start, max(s.Start, s.End)-s.Start+m.between(0, 5*minute))
		m.h.Steps = append(m.h.Steps, s)
		return true
	}},
	{"result missing", func(m *maker) bool {
		s := m.ofKind(reprocessing.LeakTest, reprocessing.Inspection, reprocessing.Disinfection, reprocessing.Drying)
		if m.one(3) {
			s = &m.h.Steps[m.IntN(len(m.h.Steps))]
		}
		if s == nil {
			return false
		}
		s.Result = reprocessing.NotStated
		return true
	}},
	{"goes on", func(m *maker) bool {
		m.h.Steps[m.someStep()].End = 0
		return true
	}},
	{"done again afterwards", func(m *maker) bool {
		s := m.h.Steps[m.someStep()]
		at := m.latest() + m.between(0, hour)
		if s.End.Known() {
			s.End += at - s.Start
		}
		s.Start, s.Stamp = at, m.stamp("again", max(at, s.End))
		m.h.Steps = append(m.h.Steps, s)
		return true
	}},
	{"entered twice", func(m *maker) bool {
		s := m.h.Steps[m.someStep()]
		s.ID += " again"
		if m.one(2) {
			s.Result = []reprocessing.Result{reprocessing.NotStated, reprocessing.Pass, reprocessing.Fail}[m.IntN(3)]
		}
		if s.End.Known() && m.one(3) {
			s.End += m.between(0, 5*minute)
		}
		m.h.Steps = append(m.h.Steps, s)
		return true
	}},
	{"wet again", func(m *maker) bool {
		d := m.ofKind(reprocessing.Drying)
		if d == nil || !d.End.Known() {
			return false
		}
		at := d.End
		kind := []reprocessing.StepKind{reprocessing.FinalRinse, reprocessing.Soak, reprocessing.Transport}[m.IntN(3)]
		m.shift(at, 10*minute)
		m.h.Steps = append(m.h.Steps, reprocessing.Step{
			Stamp: m.stamp("wet", at+5*minute), Scope: tag, Kind: kind, Start: at + minute, End: at + 5*minute,
		})
		return true
	}},
	{"an act after the storing", func(m *maker) bool {
		if m.ofKind(reprocessing.Storage) == nil {
			return false
		}
		kinds := []reprocessing.StepKind{
			reprocessing.PointOfUse, reprocessing.Transport, reprocessing.LeakTest, reprocessing.Soak, reprocessing.ManualCleaning, reprocessing.Inspection,
			reprocessing.FinalRinse, reprocessing.Drying, reprocessing.Issue,
		}
		s := reprocessing.Step{Scope: tag, Kind: kinds[m.IntN(len(kinds))], Start: m.latest() + m.between(0, hour), Result: reprocessing.Pass}
		s.End = s.Start + m.between(10*minute, 20*minute)
		s.Stamp = m.stamp("afterwards", s.End)
		m.h.Steps = append(m.h.Steps, s)
		if m.one(3) { // hung back
			m.h.Steps = append(m.h.Steps, reprocessing.Step{
				Stamp: m.stamp("hung back", s.End+minute), Scope: tag, Kind: reprocessing.Storage, Start: s.End + minute, Cabinet: m.ofKind(reprocessing.Storage).Cabinet,
			})
		}
		return true
	}},
	{"disinfection off its label", func(m *maker) bool {
		s := m.ofKind(reprocessing.Disinfection)
		if s == nil {
			return false
		}
		switch m.IntN(11) {
		case 9:
			s.Warmest = 0
		case 10:
			s.Warmest += unit.Celsius(m.IntN(3)) * 0.1
		case 0:
			s.Contact -= unit.Second
		case 1:
			s.Contact = 0
		case 2:
			s.Coldest -= 0.1
		case 3:
			s.Coldest += unit.Celsius(m.IntN(8))
		case 4:
			s.HasTemperature = false
		case 5:
			s.MEC = reprocessing.Fail
		case 6:
			s.MEC = reprocessing.NotStated
		case 7:
			s.DisinfectantLot = ""
		case 8:
			s.Disinfectant = "something else"
		}
		return true
	}},
	{"solution past its life", func(m *maker) bool {
		s := m.ofKind(reprocessing.Disinfection)
		if s == nil {
			return false
		}
		s.DisinfectantExpires = []unit.Instant{0, s.Start - hour, s.Start, s.Start + second, max(s.Start, s.End), max(s.Start, s.End) + second}[m.IntN(6)]
		return true
	}},
	{"a run with two results", func(m *maker) bool {
		x, s, ok := m.elsewhere()
		if !ok {
			return false
		}
		x.Result, x.MEC = []reprocessing.Result{reprocessing.Fail, reprocessing.Pass, reprocessing.NotStated}[m.IntN(3)],
			[]reprocessing.Result{reprocessing.Pass, reprocessing.Fail, reprocessing.NotStated}[m.IntN(3)]
		switch m.IntN(8) {
		case 0:
			x.CycleNumber = "another"
		case 1:
			x.CycleNumber = ""
		case 2:
			x.Start, x.End = x.Start+2*(s.End-s.Start), x.End+2*(s.End-s.Start)
		case 3:
			x.Reprocessor = []string{"", "W-2"}[m.IntN(2)]
		case 4:
			x.CycleNumber, x.Start = " "+x.CycleNumber, x.Start+m.between(-minute, minute)
		case 5:
			s.CycleNumber = ""
			x.Start += m.between(-minute, minute)
		}
		m.share(x)
		return true
	}},
	{"a lot with two dates", func(m *maker) bool {
		x, s, ok := m.elsewhere()
		if !ok {
			return false
		}
		x.Start += m.between(-20*day, day)
		x.End = x.Start + 20*minute
		x.DisinfectantExpires = max(s.Start, s.End) + []unit.Instant{-m.between(0, 20*day), -second, 0, second}[m.IntN(4)]
		m.another(&x, s)
		m.share(x)
		return true
	}},
	{"a solution in use for longer", func(m *maker) bool {
		x, s, ok := m.elsewhere()
		if !ok {
			return false
		}
		i := slices.IndexFunc(m.rules.Disinfectants, func(d reprocessing.Disinfectant) bool { return d.Name == s.Disinfectant })
		if i < 0 || m.rules.Disinfectants[i].ReuseDays == 0 {
			return false
		}
		life := unit.Instant(m.rules.Disinfectants[i].ReuseDays) * day
		switch m.IntN(4) {
		case 0: // by its own date of filling
			s.DisinfectantFilled = max(s.Start, s.End) - life + []unit.Instant{-hour, -second, 0, second, hour}[m.IntN(5)]
			return true
		case 1: // nobody says when it was filled
			s.DisinfectantFilled = 0
			s.DisinfectantExpires = max(s.Start, s.End) + life + []unit.Instant{-hour, -second, 0, second, 200 * day}[m.IntN(5)]
			return true
		}
		s.DisinfectantFilled, s.DisinfectantExpires = 0, max(s.Start, s.End)+life-hour
		x.DisinfectantExpires, x.DisinfectantFilled = s.DisinfectantExpires, 0
		x.Start = max(s.Start, s.End) - life + []unit.Instant{-day, -second, 0, second, day}[m.IntN(5)]
		x.End = x.Start + 20*minute
		if m.one(4) {
			x.DisinfectantFilled = x.Start - m.between(0, 3*day)
		}
		m.another(&x, s)
		m.share(x)
		return true
	}},
	{"cabinet unknown", func(m *maker) bool {
		s := m.ofKind(reprocessing.Storage)
		if s == nil {
			return false
		}
		s.Cabinet = []string{"", "the hook behind the door"}[m.IntN(2)]
		return true
	}},
	{"not stored", func(m *maker) bool {
		n := len(m.h.Steps)
		if n == 0 || m.h.Steps[n-1].Kind != reprocessing.Storage {
			return false
		}
		m.h.Steps = m.h.Steps[:n-1]
		return true
	}},
	{"taken out and back", func(m *maker) bool {
		s := m.ofKind(reprocessing.Storage)
		if s == nil {
			return false
		}
		out := s.Start + m.between(0, 3*day)
		if m.one(2) {
			s.End = out
		} else {
			m.h.Steps = append(m.h.Steps, reprocessing.Step{Stamp: m.stamp("issue", out), Scope: tag, Kind: reprocessing.Issue, Start: out})
		}
		if m.one(4) {
			return true // and not back
		}
		m.t = out + m.gap()
		m.store()
		return true
	}},
	{"moved", func(m *maker) bool {
		s := m.ofKind(reprocessing.Storage)
		if s == nil {
			return false
		}
		m.t = s.Start + m.between(0, 20*day)
		m.store()
		return true
	}},
	{"stored badly, then well", func(m *maker) bool {
		s := m.ofKind(reprocessing.Storage)
		if s == nil {
			return false
		}
		m.t = s.Start + m.between(0, 2*day)
		m.store()
		m.h.Steps[len(m.h.Steps)-1].Result = reprocessing.Fail
		m.t += m.gap()
		m.store()
		return true
	}},
	{"storage run out", func(m *maker) bool {
		s := m.ofKind(reprocessing.Storage)
		if s == nil {
			return false
		}
		m.t = max(m.latest(), s.Start+m.between(0, 60*day))
		switch m.IntN(4) {
		case 0:
			m.dry()
		case 1:
			m.disinfect()
			m.dry()
		case 2:
			m.clean()
			m.step(reprocessing.Inspection, minute, 3*minute, reprocessing.Pass)
			m.verify()
			m.disinfect()
			m.dry()
		case 3:
			m.step(reprocessing.LeakTest, minute, 3*minute, reprocessing.Pass)
			m.clean()
			m.step(reprocessing.Inspection, minute, 3*minute, reprocessing.Pass)
			m.sample(m.points, reading.OK)
			m.disinfect()
			m.dry()
		}
		m.store()
		return true
	}},
	{"repaired, and its route done", func(m *maker) bool {
		m.t = m.latest() + m.between(0, day)
		m.repair()
		m.follow(reprocessing.OfRepair)
		return true
	}},
	{"storage run out, and its route done", func(m *maker) bool {
		s := m.ofKind(reprocessing.Storage)
		if s == nil {
			return false
		}
		m.t = max(m.latest(), s.Start+m.between(0, 50*day))
		m.follow(reprocessing.OfRunOut)
		return true
	}},
	{"too long", func(m *maker) bool {
		s := &m.h.Steps[m.someStep()]
		if !s.End.Known() {
			return false
		}
		by, end := m.between(second, 30*minute), s.End
		m.shift(end, by)
		s.End, s.Recorded = end+by, end+by
		return true
	}},
	{"dried again", func(m *maker) bool {
		d := m.ofKind(reprocessing.Drying)
		if d == nil || !d.End.Known() {
			return false
		}
		wait := m.gap()
		m.shift(d.End, wait+15*minute)
		m.t = d.End + wait
		m.dry()
		return true
	}},
	{"use goes on", func(m *maker) bool {
		at := m.latest() + m.between(0, day)
		m.h.Uses = append(m.h.Uses, reprocessing.Use{Stamp: m.stamp("use", at), Scope: tag, Start: at})
		return true
	}},
	{"end of a use not known", func(m *maker) bool {
		if len(m.h.Uses) == 0 {
			return false
		}
		u := &m.h.Uses[m.IntN(len(m.h.Uses))]
		u.End, u.EndNotKnown = 0, true
		return true
	}},
	{"use without an end before", func(m *maker) bool {
		if len(m.h.Uses) == 0 {
			return false
		}
		at := m.h.Uses[m.IntN(len(m.h.Uses))].Start - m.between(hour, day)
		m.h.Uses = append(m.h.Uses, reprocessing.Use{Stamp: m.stamp("use", at), Scope: tag, Start: at})
		return true
	}},
	{"uses overlap", func(m *maker) bool {
		if len(m.h.Uses) == 0 {
			return false
		}
		u := m.h.Uses[m.IntN(len(m.h.Uses))]
		u.Start += m.between(-30*minute, 30*minute)
		u.End = max(u.Start, u.End+m.between(-30*minute, 30*minute))
		u.Room, u.Stamp = "2", m.stamp("use", u.End)
		m.h.Uses = append(m.h.Uses, u)
		return true
	}},
	{"used again", func(m *maker) bool {
		at := m.latest() + m.between(0, day)
		m.h.Uses = append(m.h.Uses, reprocessing.Use{Stamp: m.stamp("use", at+hour), Scope: tag, Start: at, End: at + m.between(0, hour)})
		if m.one(2) {
			m.t = at + hour
			m.pass(0, 10*minute)
			m.reprocess()
		}
		return true
	}},
	{"used in between", func(m *maker) bool {
		s := m.h.Steps[m.someStep()]
		m.shift(s.Start, 20*minute)
		at := s.Start + m.between(0, 10*minute)
		end := at + m.between(0, 10*minute)
		m.h.Uses = append(m.h.Uses, reprocessing.Use{Stamp: m.stamp("use", end), Scope: tag, Start: at, End: end})
		return true
	}},
	{"away for repair", func(m *maker) bool {
		at := m.latest() + m.between(0, day)
		m.h.Repairs = append(m.h.Repairs, reprocessing.Repair{Stamp: m.stamp("repair", at), Repair: scope.Repair{Scope: tag, Sent: at}})
		return true
	}},
	{"repair", func(m *maker) bool {
		m.t = m.latest() + m.between(0, day)
		if m.one(2) {
			m.t = m.h.Steps[m.someStep()].Start
			at := m.t
			m.repair()
			r := m.h.Repairs[len(m.h.Repairs)-1]
			m.h.Repairs = m.h.Repairs[:len(m.h.Repairs)-1]
			m.shift(at, m.t-at)
			m.h.Repairs = append(m.h.Repairs, r)
			return true
		}
		m.repair()
		if m.one(2) {
			m.reprocess()
		}
		return true
	}},
	{"arrived again", func(m *maker) bool {
		at := m.h.Steps[m.someStep()].Start + m.between(-2*minute, 2*minute)
		m.arrived = at
		return true
	}},
	{"retired", func(m *maker) bool {
		m.h.Instrument.Retired = m.latest() + m.between(-day, 10*day)
		return true
	}},
	{"model missing", func(m *maker) bool {
		m.h.Model.Name = []string{"", "another"}[m.IntN(2)]
		return true
	}},
	{"sample missing", func(m *maker) bool {
		i, ok := m.someSample()
		if ok {
			m.h.Samples = slices.Delete(m.h.Samples, i, i+1)
		}
		return ok
	}},
	{"point not applicable", func(m *maker) bool {
		i, ok := m.someSample()
		if ok {
			m.h.Samples[i].NotApplicable, m.h.Samples[i].Judgements, m.h.Samples[i].Read = "no time", nil, 0
		}
		return ok
	}},
	{"over the action level", func(m *maker) bool {
		i, ok := m.someSample()
		if ok && len(m.h.Samples[i].Judgements) > 0 {
			m.h.Samples[i].Judgements[0].Outcome = reading.Action
		}
		return ok
	}},
	{"sampled again without a cleaning", func(m *maker) bool {
		i, ok := m.someSample()
		if !ok || !m.h.Samples[i].Read.Known() {
			return false
		}
		outcomes := []reading.Outcome{reading.OK, reading.Action, reading.OK, reading.Alert}
		if m.one(2) {
			m.h.Samples[i].Judgements[0].Outcome = reading.Action
		}
		m.again(i, outcomes[m.IntN(len(outcomes))])
		return true
	}},
	{"reading void", func(m *maker) bool {
		i, ok := m.someSample()
		if !ok || len(m.h.Samples[i].Judgements) == 0 {
			return false
		}
		m.h.Samples[i].Judgements[0].Outcome = reading.Void
		if m.one(2) {
			m.again(i, reading.OK)
		}
		return true
	}},
	{"reading in doubt", func(m *maker) bool {
		i, ok := m.someSample()
		if !ok || len(m.h.Samples[i].Judgements) == 0 {
			return false
		}
		j := m.h.Samples[i].Judgements[0].Doubted("the meter failed its check")
		m.h.Samples[i].Judgements[0], m.h.Samples[i].Doubt = j, "the meter failed its check"
		return true
	}},
	{"not read", func(m *maker) bool {
		i, ok := m.someSample()
		if ok {
			m.h.Samples[i].Judgements, m.h.Samples[i].Read = nil, 0
		}
		return ok
	}},
	{"no level", func(m *maker) bool {
		i, ok := m.someSample()
		if ok && len(m.h.Samples[i].Judgements) > 0 {
			m.h.Samples[i].Judgements[0].Outcome = reading.None
		}
		return ok
	}},
	{"near a level", func(m *maker) bool {
		i, ok := m.someSample()
		if !ok || len(m.h.Samples[i].Judgements) == 0 {
			return false
		}
		m.h.Samples[i].Judgements[0].Near = true
		if m.one(2) {
			m.again(i, []reading.Outcome{reading.OK, reading.Alert, reading.Action}[m.IntN(3)])
		}
		return true
	}},
	{"sampled too early", func(m *maker) bool {
		i, ok := m.someSample()
		if !ok {
			return false
		}
		back := m.between(minute, 40*minute)
		for j := range m.h.Samples {
			if m.h.Samples[j].Collected >= m.h.Samples[i].Collected {
				m.h.Samples[j].Collected -= back
				if m.h.Samples[j].Read.Known() {
					m.h.Samples[j].Read -= back
				}
			}
		}
		return true
	}},
	{"sampled afterwards", func(m *maker) bool {
		m.t = m.latest() + m.between(0, hour)
		m.sample(m.h.Model.Routine()[:1+m.IntN(2)], []reading.Outcome{reading.OK, reading.OK, reading.Action}[m.IntN(3)])
		if m.one(3) {
			m.disinfect()
			m.dry()
			m.store()
		}
		return true
	}},
	{"asked for", func(m *maker) bool {
		at := m.h.Steps[m.someStep()].Start + m.between(-hour, hour)
		q := sampling.Request{Scope: tag, Reason: "look", By: "L1", At: at}
		if m.one(2) {
			q.Points = []scope.PointKind{[]scope.PointKind{scope.AirLumen, scope.InstrumentLumen}[m.IntN(2)]}
		}
		m.h.Requests = append(m.h.Requests, reprocessing.Request{Stamp: m.stamp("request", at), Request: q})
		return true
	}},
	{"voided", func(m *maker) bool {
		at := m.latest() + m.between(0, hour)
		switch m.IntN(4) {
		case 0:
			m.h.Steps[m.someStep()].Replaced = at
		case 1: // corrected
			i := m.someStep()
			s := m.h.Steps[i]
			m.h.Steps[i].Replaced = at
			s.Stamp = m.stamp("correction", at)
			s.Result = reprocessing.Pass
			if s.End.Known() {
				s.End += m.between(0, minute)
			}
			m.h.Steps = append(m.h.Steps, s)
		case 2:
			if i, ok := m.someSample(); ok {
				m.h.Samples[i].Replaced = at
			}
		case 3:
			if n := len(m.h.Uses); n > 0 {
				m.h.Uses[n-1].Replaced = at
			}
		}
		return true
	}},
	{"put right later", func(m *maker) bool {
		s := &m.h.Steps[m.someStep()]
		if s.Result == reprocessing.Fail {
			return false
		}
		s.Edited = true
		if m.one(2) {
			at := max(s.Start, s.End) + m.between(0, 3*day)
			m.h.Attestations = append(m.h.Attestations, reprocessing.Attestation{
				Stamp: m.stamp("word", at), Scope: tag, At: at, By: "T1", Of: []string{s.ID}, From: reprocessing.OwnAct,
			})
		}
		return true
	}},
	{"done by a stranger", func(m *maker) bool {
		s := &m.h.Steps[m.someStep()]
		s.Stranger = "names X1, who was not registered here when it was put on record"
		if m.one(2) {
			at := max(s.Start, s.End) + m.between(0, 5*day)
			m.h.Attestations = append(m.h.Attestations, reprocessing.Attestation{
				Stamp: m.stamp("word", at), Scope: tag, At: at, By: "L1", Of: []string{s.ID}, Form: "form",
				From: reprocessing.AttestedFroms[m.IntN(len(reprocessing.AttestedFroms))],
			})
		}
		return true
	}},
	{"recorded late", func(m *maker) bool {
		s := &m.h.Steps[m.someStep()]
		s.Recorded += m.between(hour, 3*day)
		if m.one(2) {
			at := s.Start + m.between(0, 5*day)
			m.h.Attestations = append(m.h.Attestations, reprocessing.Attestation{
				Stamp: m.stamp("word", at), Scope: tag, At: at, By: "L1", Of: []string{s.ID}, Form: "form",
				From: reprocessing.AttestedFroms[m.IntN(len(reprocessing.AttestedFroms))],
			})
		}
		return true
	}},
	{"recorded at its begin, then finished", func(m *maker) bool {
		i := m.someStep()
		s := m.h.Steps[i]
		if !s.End.Known() {
			return false
		}
		s.Stamp = m.stamp("begin", s.Start)
		s.Replaced, s.End, s.Result = m.h.Steps[i].End, 0, reprocessing.NotStated
		m.h.Steps[i].Finishes = s.ID
		m.h.Steps = append(m.h.Steps, s)
		return true
	}},
	{"at one instant", func(m *maker) bool {
		i := m.someStep()
		switch trip := m.trip(); {
		case m.h.Steps[i].Start < trip:
			return false
		case i == 0 || m.h.Steps[i-1].Start < trip: // the first of its trip
			m.h.Steps[i].Start = trip
		case m.h.Steps[i-1].End.Known():
			m.h.Steps[i].Start = m.h.Steps[i-1].End
		default:
			return false
		}
		return true
	}},
}

// elsewhere returns the last disinfection, and one of another scope that was like it in everything.
func (m *maker) elsewhere() (x reprocessing.Step, s *reprocessing.Step, ok bool) {
	if s = m.ofKind(reprocessing.Disinfection); s == nil || !s.End.Known() {
		return x, nil, false
	}
	x = *s
	x.Scope, x.Stamp = "G-07", m.stamp("elsewhere", s.End)
	return x, s, true
}

// another changes, in some cases, what makes the means of another disinfection the same.
func (m *maker) another(x, s *reprocessing.Step) {
	switch m.IntN(8) {
	case 0:
		x.DisinfectantLot = "another"
	case 1:
		x.DisinfectantLot = " " + strings.ToLower(x.DisinfectantLot)
	case 2:
		x.Reprocessor = "W-2"
	case 3:
		x.Disinfectant = m.rules.Disinfectants[0].Name
	case 4:
		x.DisinfectantFilled = s.Start - m.between(-day, 10*day)
	case 5:
		x.DisinfectantFilled = 0
	}
}

// share puts a disinfection of another scope on record, which somebody takes back in some cases.
func (m *maker) share(x reprocessing.Step) {
	if m.one(10) {
		x.Replaced = m.latest()
	}
	m.h.Shared = append(m.h.Shared, x)
}

// gap is how long a scope hangs nowhere: about as long as it may, in one of three cases to the second.
func (m *maker) gap() unit.Instant {
	limit := unit.Instant(m.rules.Unstored)
	switch m.IntN(3) {
	case 0:
		return limit + m.between(-second, second)
	case 1:
		return m.between(minute, limit-minute)
	}
	return m.between(minute, 4*limit)
}

// trip is since when the last trip goes on.
func (m *maker) trip() unit.Instant {
	at := m.h.Instrument.InService
	for _, u := range m.h.Uses {
		at = max(at, u.Start, u.End)
	}
	return at
}

// someStep returns a step, most of the time one since the last use.
func (m *maker) someStep() int {
	since := m.trip()
	for range 20 {
		if i := m.IntN(len(m.h.Steps)); m.h.Steps[i].Start >= since {
			return i
		}
	}
	return m.IntN(len(m.h.Steps))
}

func (m *maker) someSample() (int, bool) {
	if len(m.h.Samples) == 0 {
		return 0, false
	}
	since := m.trip()
	for range 20 {
		if i := m.IntN(len(m.h.Samples)); m.h.Samples[i].Collected >= since {
			return i, true
		}
	}
	return m.IntN(len(m.h.Samples)), true
}

// ofKind returns the last step of one of the kinds, nil when there is none.
func (m *maker) ofKind(kinds ...reprocessing.StepKind) *reprocessing.Step {
	kind := kinds[m.IntN(len(kinds))]
	for i := len(m.h.Steps) - 1; i >= 0; i-- {
		if m.h.Steps[i].Kind == kind {
			return &m.h.Steps[i]
		}
	}
	return nil
}

// shift makes everything that begins at an instant or later happen so much later.
func (m *maker) shift(from, by unit.Instant) {
	later := func(at *unit.Instant) {
		if *at >= from {
			*at += by
		}
	}
	for i := range m.h.Uses {
		if u := &m.h.Uses[i]; u.Start >= from {
			later(&u.Start)
			later(&u.End)
			later(&u.Recorded)
		}
	}
	for i := range m.h.Steps {
		if s := &m.h.Steps[i]; s.Start >= from {
			later(&s.Start)
			later(&s.End)
			later(&s.Recorded)
			later(&s.DisinfectantExpires)
		}
	}
	for i := range m.h.Samples {
		if t := &m.h.Samples[i]; t.Collected >= from {
			later(&t.Collected)
			later(&t.Read)
			later(&t.Recorded)
		}
	}
	for i := range m.h.Repairs {
		r := &m.h.Repairs[i]
		later(&r.Sent)
		later(&r.Returned)
		later(&r.Recorded)
	}
	for i := range m.h.Requests {
		later(&m.h.Requests[i].At)
		later(&m.h.Requests[i].Recorded)
	}
}

// again takes a second sample of a point, after the others of its round.
func (m *maker) again(i int, outcome reading.Outcome) {
	t := m.h.Samples[i]
	last := t.Read
	for _, other := range m.h.Samples {
		if other.Read.Known() && other.Read-t.Read < 10*minute {
			last = max(last, other.Read)
		}
	}
	at := last + m.between(0, 3*minute)
	m.shift(last+1, 8*minute)
	t.Stamp, t.Collected, t.Read = m.stamp("sample", at), at, 0
	t.Judgements, t.Doubt, t.NotApplicable = nil, "", ""
	t.AddReading(reading.Judgement{Outcome: outcome}, at+m.between(0, 2*minute), nil)
	m.h.Samples = append(m.h.Samples, t)
}

// afterwards is what happens to a history once it has its decisions: holds by people, lifts, a clock in doubt.
func (m *maker) afterwards() {
	if m.one(8) {
		m.heldByPeople()
	}
	if m.one(15) && len(m.h.Holds) > 0 {
		m.class("hold lifted by a verification that it does not rest on")
		x := m.h.Holds[m.IntN(len(m.h.Holds))]
		for _, d := range m.h.Decisions {
			m.lift(m.h.AsKnown(ever), x, max(x.At, d.Last), "T1", []string{"", "t1 "}[m.IntN(2)], d.ID)
		}
	}
	if m.one(20) {
		m.clockInDoubt()
	}
	if m.one(4) {
		m.class("rows shuffled")
		m.h = shuffled(m.Rand, m.h)
	}
}

func (m *maker) heldByPeople() {
	at := m.latest() - m.between(-2*hour, 2*hour)
	x := reprocessing.Hold{Stamp: m.stamp("hold", at), Scope: tag, At: at, By: "L1", Reason: "something bent"}
	m.h.Holds = append(m.h.Holds, x)
	lifted := at + m.between(0, 2*hour)
	switch m.IntN(6) {
	case 0:
		m.class("hold")
	case 1, 2:
		m.class("hold lifted by two")
		m.lift(m.h.AsKnown(ever), x, lifted, "L1", "I1", "")
	case 3:
		m.class("hold lifted by one")
		m.lift(m.h.AsKnown(ever), x, lifted, "L1", []string{"", "L1", "l1 "}[m.IntN(3)], "")
	case 4:
		m.class("hold lifted before it was placed")
		m.lift(m.h.AsKnown(ever), x, at-m.between(second, hour), "L1", "I1", "")
	case 5:
		m.class("hold lifted by one over a verification")
		if n := len(m.h.Decisions); n > 0 {
			m.lift(m.h.AsKnown(ever), x, lifted, "L1", "", m.h.Decisions[m.IntN(n)].ID)
		}
	}
}

// clockInDoubt has the clock step while some of the entries are written, and settles it, or not.
func (m *maker) clockInDoubt() {
	m.class("clock in doubt")
	last := m.latest()
	from := m.h.Steps[m.someStep()].Start + m.between(-hour, hour)
	until := from + m.between(minute, 10*hour)
	settled := max(until, last) + m.between(0, hour)
	m.clock.Notes = append(m.clock.Notes, reprocessing.ClockNote{From: from + hour, To: from, Noticed: reprocessing.ByRecords, Place: 1})
	if m.one(4) {
		m.class("clock not settled")
		settled = reprocessing.Never
	} else {
		m.clock.Notes = append(m.clock.Notes, reprocessing.ClockNote{
			From: settled, To: settled, Saw: settled, Noticed: reprocessing.ByCompared, Other: reprocessing.Phone, By: "L1", Place: 2,
		})
	}
	doubt := func(s *reprocessing.Stamp) {
		if s.Recorded >= from && s.Recorded < until {
			s.Unsure = settled
		}
	}
	for i := range m.h.Samples { // a sample carries the doubt of its reading as well
		if t := &m.h.Samples[i]; t.Read >= from && t.Read < until {
			t.Unsure = settled
		}
	}
	each(&m.h, doubt)
}

// each calls f with the stamp of each entry.
func each(h *reprocessing.History, f func(*reprocessing.Stamp)) {
	for i := range h.Uses {
		f(&h.Uses[i].Stamp)
	}
	for i := range h.Steps {
		f(&h.Steps[i].Stamp)
	}
	for i := range h.Samples {
		f(&h.Samples[i].Stamp)
	}
	for i := range h.Decisions {
		f(&h.Decisions[i].Stamp)
	}
	for i := range h.Holds {
		f(&h.Holds[i].Stamp)
	}
	for i := range h.Lifts {
		f(&h.Lifts[i].Stamp)
	}
	for i := range h.Repairs {
		f(&h.Repairs[i].Stamp)
	}
	for i := range h.Requests {
		f(&h.Requests[i].Stamp)
	}
	for i := range h.Attestations {
		f(&h.Attestations[i].Stamp)
	}
	for i := range h.StockTakes {
		f(&h.StockTakes[i].Stamp)
	}
}
