package level

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

// verdict is an outcome as a number that orders by severity, as reading.Outcomes does. Zero is a
// point that was not sampled.
type verdict uint8

const (
	absent verdict = iota
	below
	alert
	none
	action
	spared
)

func (v verdict) word() reading.Outcome {
	switch v {
	case below:
		return reading.OK
	case alert:
		return reading.Alert
	case action:
		return reading.Action
	case spared:
		return Spared
	case absent, none:
	}
	return reading.None
}

func verdictOf(o reading.Outcome) verdict {
	switch o {
	case reading.OK:
		return below
	case reading.Alert:
		return alert
	case reading.Action:
		return action
	case reading.Void, reading.None:
	}
	return none
}

func (v verdict) passed() bool { return v == below || v == alert }

// court judges the verifications of the past by one set of levels. It gives what Level.Judge and
// Rules.Judge give, some hundred times as fast, since it writes no sentences.
type court struct {
	limits []limits // of each context
	known  []bool   // whether the context has a level
	point  []uint8  // of each context
	terms  Terms

	verifications []judgedVerification // of the cycle at hand
	outcomes      []reading.Outcome    // of the point at hand
}

type judgedVerification struct {
	cleaning uint8
	outcome  verdict
}

// points are the verdicts on the points of a verification, by their place in scope.PointKinds.
type points [maxPoints]verdict

// maxPoints leaves room for more kinds of points than there are.
const maxPoints = 32

// convene looks up the level of each context.
func (h History) convene(levels []reading.Level, point []uint8, terms Terms) (*court, error) {
	court := &court{
		limits: make([]limits, len(h.Contexts)),
		known:  make([]bool, len(h.Contexts)),
		point:  point,
		terms:  terms,
	}
	for i, with := range h.Contexts {
		l, ok := reading.Find(levels, reading.ATP, reading.Circumstances{
			System: with.System, Kit: with.Kit, Point: with.Point, Kind: with.Kind, At: terms.AsOf,
		})
		if !ok {
			continue
		}
		found, err := limitsOf(l)
		if err != nil {
			return nil, err
		}
		court.limits[i], court.known[i] = found, true
	}
	return court, nil
}

// follow walks through the verifications of one cycle, given by cleaning and point, and adds what
// happened to the tally. The result is valid until the next call.
func (c *court) follow(rows []Row, tally *Tally) []judgedVerification {
	c.verifications = c.verifications[:0]
	tally.Cycles++
	var (
		before                  points
		over                    int
		passed, open, isCulture bool
	)
	for rest := rows; len(rest) > 0; {
		verification := firstTest(rest)
		rest = rest[len(verification):]
		for _, r := range verification {
			isCulture = isCulture || r.Culture
		}
		cleaning := verification[0].Cleaning
		if passed {
			tally.Spared++
			c.verifications = append(c.verifications, judgedVerification{cleaning, spared})
			continue
		}
		now, outcome := c.judge(verification, before)
		c.verifications = append(c.verifications, judgedVerification{cleaning, outcome})
		minutes := minutesOf(verification)
		tally.Verifications++
		tally.Kits += len(verification)
		tally.Minutes += unit.Number(minutes)
		before = points{}
		switch outcome {
		case action:
			tally.Over++
			over++
			before = now
			c.after(over, len(rest) == 0, now, minutes/float64(len(verification)), tally)
		case none:
			tally.Undecided++
			open = true
		case alert:
			tally.Alerts++
			passed = true
		case below:
			passed = true
		case absent, spared: // no verification has these
		}
	}
	if isCulture {
		switch {
		case over > 0:
			tally.Caught++
		case open:
			tally.Unjudged++
		default:
			tally.Missed++
		}
	}
	return c.verifications
}

// after counts what the over-th verification over the action level leads to. last says that the past has
// no further verification, each is the cost of one reading.
func (c *court) after(over int, last bool, now points, each float64, tally *Tally) {
	switch {
	case over == c.terms.Rules.Cleanings:
		tally.Holds++
	case over < c.terms.Rules.Cleanings:
		tally.Recleans++
		tally.Minutes += unit.Number(c.terms.CleaningMinutes)
		if last {
			tally.Unknown++
			again := c.again(now)
			tally.Kits += again
			tally.Minutes += unit.Number(float64(again) * each)
		}
	}
}

// again returns how many points are sampled again, as Rules.Judge asks for.
func (c *court) again(now points) int {
	n := 0
	for _, v := range now {
		if v == action || v != absent && c.terms.Rules.Retest != reading.FailingPoints {
			n++
		}
	}
	return n
}

// judge returns the verdicts on the points of a verification and on the verification. before are the points of
// the verification before if that was over the action level, else empty.
func (c *court) judge(verification []Row, before points) (now points, outcome verdict) {
	if c.terms.Rules.Retest == reading.FailingPoints {
		for i, v := range before {
			switch {
			case v.passed():
				now[i] = v
			case v != absent:
				now[i] = none // wanted again; overwritten if it was sampled
			}
		}
	}
	incomplete := false
	for len(verification) > 0 {
		p := c.point[verification[0].Context]
		n := 1
		for n < len(verification) && c.point[verification[n].Context] == p {
			n++
		}
		v, wantsDuplicate := c.judgePoint(verification[:n])
		now[p] = v
		incomplete = incomplete || wantsDuplicate && v != action
		verification = verification[n:]
	}
	for _, v := range now {
		outcome = max(outcome, v)
	}
	if incomplete && outcome != action {
		outcome = none
	}
	return now, outcome
}

// judgePoint judges the readings of one point together.
func (c *court) judgePoint(rows []Row) (v verdict, wantsDuplicate bool) {
	if len(rows) == 1 {
		with := rows[0].Context
		if !c.known[with] {
			return none, false
		}
		v, near := c.limits[with].judge(rows[0].Value)
		return v, near && c.terms.Rules.Duplicate
	}
	c.outcomes = c.outcomes[:0]
	for _, r := range rows {
		o := none
		if c.known[r.Context] {
			o, _ = c.limits[r.Context].judge(r.Value)
		}
		c.outcomes = append(c.outcomes, o.word())
	}
	return verdictOf(c.terms.Rules.Combine.Point(c.outcomes)), false
}

// firstTest returns the rows of the first cleaning.
func firstTest(rows []Row) []Row {
	n := 1
	for n < len(rows) && rows[n].Cleaning == rows[0].Cleaning {
		n++
	}
	return rows[:n]
}

func minutesOf(rows []Row) float64 {
	sum := 0.0
	for _, r := range rows {
		sum += float64(r.Minutes)
	}
	return sum
}
