package reprocessing

import (
	"fmt"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// shown says whether a step shows what it says, by itself or by somebody's word, and asks for such a word where only
// that is missing.
func (g *release) shown(s Step) bool {
	lack := s.Lacks()
	if lack == nil {
		return true
	}
	if g.quiet {
		return g.h.attested(s.ID, s.last(), Lack{}) != nil
	}
	if a := g.h.attested(s.ID, s.last(), Lack{}); a != nil {
		r := Reason{Text: fmt.Sprintf("%s at %s is attested", s.Kind.Words(), s.Start.In(g.zone)), By: a.By, Record: a.ID}
		if !slices.Contains(g.answer.Reasons, r) {
			g.note(r)
		}
		return true
	}
	g.want(Wanting{Record: s.ID, What: s.Kind.Words(), At: s.last(), By: s.By, Why: lack.Why})
	return false
}

// afterwards blocks for all steps at once that prove nothing by themselves and that nobody attests: where one was written
// down too late, others were.
func (g *release) afterwards() {
	if len(g.unwritten) == 0 {
		return
	}
	var lacks []string
	kinds := map[string][]StepKind{}
	for _, s := range g.unwritten {
		lack := s.Lacks()
		if len(kinds[lack.Why]) == 0 {
			lacks = append(lacks, lack.Why)
		}
		kinds[lack.Why] = append(kinds[lack.Why], s.Kind)
	}
	for i, why := range lacks {
		lacks[i] = fmt.Sprintf("%s (%s)", scope.Named(kinds[why]), why)
	}
	g.block(InReprocessing, Reason{
		Text:   "nobody attests what proves nothing by itself: " + strings.Join(lacks, "; "),
		Record: g.unwritten[0].ID,
	}, "attest what is not proven, or reprocess")
}

func (g *verdict) want(w Wanting) {
	if !slices.Contains(g.answer.Wanting, w) {
		g.answer.Wanting = append(g.answer.Wanting, w)
	}
}

// unproven blocks where a verification that passed rests on readings since an instant that prove nothing, and says whether
// it does.
func (g *release) unproven(d Decision, rule StepRule, from unit.Instant) bool {
	missing, attested := g.h.weigh(d, from)
	for _, a := range attested {
		g.note(Reason{Text: d.Verification.Words() + " is attested", By: a.By, Record: a.ID})
	}
	for _, m := range missing {
		next := "sample again: " + scope.Named(m.points)
		if len(m.samples) > 0 {
			next = "attest what is not proven, or sample again: " + scope.Named(m.points)
			if m.lack.Value {
				next = "file a photograph of the display and attest what is not proven, or sample again: " + scope.Named(m.points)
			}
		}
		record := d.ID
		for _, t := range m.samples {
			record = t.ID
			g.want(Wanting{Record: t.ID, What: "sample of the " + t.Point.Words(), At: t.Ended(), By: t.By, Why: m.lack.Why})
		}
		g.block(InReprocessing, cite(Reason{
			Text: fmt.Sprintf("the good reading of the %s proves nothing: %s", scope.Named(m.points), m.lack.Why), Record: record,
		}, rule.Source), next)
	}
	return len(missing) > 0
}
