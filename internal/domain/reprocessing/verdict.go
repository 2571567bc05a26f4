package reprocessing

import "slices"

// verdict is what is said of a scope: the answer, and what it is put together from.
type verdict struct {
	answer Answer
	// open are the holds that nobody has lifted.
	open []Hold
	// cleanAgain says that the last cleaning verification asks for another cleaning, recleaning that somebody has begun it.
	cleanAgain, recleaning bool
	// decisions are what other people have to decide before the scope can be ready, beside the acts.
	decisions []string
	// unwritten are steps that were written down too late and that nobody attests.
	unwritten []Step
}

// release collects the answer: what is on record of the trip is asked, and what that says goes into the verdict.
type release struct {
	trip
	verdict
	// startedBy and startRecord say what began the cycle.
	startedBy, startRecord string
	// quiet leaves what is attested, or could be, unsaid.
	quiet bool
}

// block adds a reason that keeps the scope from patients, and what to do about it.
func (g *verdict) block(state State, r Reason, next string) {
	r.Blocks = true
	g.answer.Reasons = append(g.answer.Reasons, r)
	if slices.Index(States, state) > slices.Index(States, g.answer.State) {
		g.answer.State = state
	}
	g.next(next)
}

// next adds what to do, once.
func (g *verdict) next(what string) {
	if what != "" && !slices.Contains(g.answer.Next, what) {
		g.answer.Next = append(g.answer.Next, what)
	}
}

// note adds a reason that does not block, once.
func (g *release) note(r Reason) {
	if g.on == nil || len(g.all) == 1 || !slices.Contains(g.answer.Reasons, r) {
		g.answer.Reasons = append(g.answer.Reasons, r)
	}
}
