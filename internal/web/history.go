package web

import (
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
)

// historyLine is one record of a scope.
type historyLine struct {
	Seq                   int64
	At, What, By, Remarks string
	Href                  string
	// Gone says that another record took it back.
	Gone bool
}

// historyLines lists the records of a scope between two instants, the latest first; what was taken back
// says by whom and why.
func (s scopePages) historyLines(v desk.View, tag string, from, to unit.Instant, most int, clock words.Clock) ([]historyLine, error) {
	records, err := v.Chronicle(tag, from, to, most)
	if err != nil {
		return nil, err
	}
	voids := map[string]desk.Line{}
	for _, l := range records {
		if l.Type == record.Void {
			voids[l.Corrects] = l
		}
	}
	lines := make([]historyLine, 0, len(records))
	for _, l := range records {
		h := historyLine{Seq: l.Seq, At: clock(l.At), What: s.Terms.Kind(l.Type), By: l.By, Href: s.RecordHref(l.ID)}
		if words := s.Terms.Record(l.Type, l.About()); words != "" {
			h.What += ": " + words
		}
		void, voided := voids[l.ID]
		switch {
		case voided:
			h.Remarks, h.Gone = "taken back by "+void.By+": "+void.Reason, true
		case l.Replaced.Known():
			h.Remarks = "replaced"
		case l.Type == record.Void:
			h.Remarks = "takes back another: " + l.Reason
		case l.Corrects != "":
			h.Remarks = "corrects another: " + l.Reason
		case l.Late:
			h.Remarks = "entered late"
		}
		lines = append(lines, h)
	}
	return lines, nil
}
