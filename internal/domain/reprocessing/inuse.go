package reprocessing

import "fmt"

// EndTheUse is how Next of a scope that is in use begins.
const EndTheUse = "record the end of the use"

// inUse looks for uses that have not ended.
func (g *release) inUse() bool {
	open := g.h.Unfinished()
	for i, u := range open {
		g.answer.Cycle = u.Start
		if i == len(open)-1 && !g.h.actedSince(u.Start) {
			g.answer.InUse = u.ID
			g.block(InReprocessing, Reason{Text: "in use on a patient since " + u.Start.In(g.zone) + u.where(), Record: u.ID},
				EndTheUse+", then point-of-use treatment at the bedside")
			continue
		}
		which := "the use that began at " + u.Start.In(g.zone) + u.where()
		g.block(InReprocessing, Reason{Text: which + " has no end on record", Record: u.ID}, "record the end of "+which+", or void it if it never was")
	}
	return len(open) > 0
}

// overlaps asks about uses that cannot all have been.
func (g *release) overlaps() {
	uses := g.h.Overlaps()
	if uses == nil {
		return
	}
	for _, u := range uses[1:] {
		g.block(InReprocessing, Reason{
			Text:   fmt.Sprintf("two uses overlap, %s and %s: one of them has wrong times or was of another scope", uses[0].span(g.zone), u.span(g.zone)),
			Record: u.ID,
		}, "find out which scope was used where; correct or void the use that is wrong")
	}
}
