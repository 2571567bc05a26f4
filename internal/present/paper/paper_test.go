package paper_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/paper"
	"rinsate/internal/present/words"
)

var printed = unit.At(time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC))

func list(scopes int) desk.ShiftList {
	l := desk.ShiftList{
		Site: "Test site", Printed: printed, Until: printed.Add(8 * time.Hour), Size: 1234, Root: "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=",
		Rules: "General rule set, edition 2026-1",
	}
	c := desk.ShiftCabinet{Cabinet: "drying-cabinet"}
	for i := range scopes {
		c.Scopes = append(c.Scopes, desk.ShiftScope{
			Scope: fmt.Sprintf("D-%02d", i), Model: "D1", Kind: scope.Duodenoscope, Serial: "SN 22", Until: printed.Add(time.Duration(i+1) * time.Hour),
		})
	}
	l.Cabinets = append(l.Cabinets, c)
	return l
}

// The list says until when it is valid, when it was printed, by which place of the ledger it was true, and what nobody
// may use whatever it says; each scope has a box to strike out and room for time and name.
func TestShift(t *testing.T) {
	l := list(2)
	l.Elsewhere, l.Doubt = []string{"G-07"}, "the clock is in doubt"
	d := paper.Shift(l, words.US, time.UTC)
	s := d.Sheets[0]
	all := strings.Join(append(append([]string{s.Title, s.Barrier, d.Foot}, s.Lead...), s.Notes...), "\n")
	for _, want := range []string{
		"Ready at most until 2026-03-02 14:00 +00:00", "Printed 2026-03-02 06:00 +00:00", "1234 records, root 47DEQpj8HBSa+/TI…", "taken out", "bad news",
		"G-07", "the clock is in doubt", "General rule set, edition 2026-1", "not sterility",
	} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is not on it:\n%s", want, all)
		}
	}
	table := s.Tables[0]
	if !table.Columns[0].Box || len(table.Rows) != 2 || table.Rows[1][1] != "D-01" || table.Rows[1][3] != "2026-03-02 08:00 +00:00" {
		t.Errorf("%+v", table)
	}
	for i, c := range table.Columns {
		if blank := table.Rows[0][i] == ""; blank != (c.Box || c.Name == "Taken out at" || c.Name == "By") {
			t.Errorf("the column %s is blank: %v", c.Name, blank)
		}
	}
}

// The columns of the forms are those of the files that are read in afterwards.
func TestFormsComeIn(t *testing.T) {
	b := desk.Blanks{
		Site: "Test site", Printed: printed, Rules: "r", Steps: []desk.BlankStep{{Step: reprocessing.LeakTest, Required: true, Result: true}},
		Cabinets: []string{"drying-cabinet"}, Models: []desk.BlankModel{{Model: "D1", Points: []string{"outer distal end"}}},
	}
	d := paper.Forms(b, words.US, time.UTC)
	files := 0
	for _, s := range d.Sheets {
		for _, n := range s.Notes {
			after, found := strings.CutPrefix(n, "Comes in late through Import, file of ")
			if !found {
				continue
			}
			files++
			kind, names, _ := strings.Cut(strings.TrimSuffix(after, "."), ": ")
			header, _, _ := strings.Cut(desk.Example(desk.Kind(kind)), "\n")
			for name := range strings.SplitSeq(names, ", ") {
				name, _, _ = strings.Cut(name, " (")
				if name != "issue)" && !strings.Contains(","+header+",", ","+name+",") {
					t.Errorf("%s: a file of %s has no column %q: %s", s.Title, kind, name, header)
				}
			}
		}
	}
	if files != 4 {
		t.Errorf("%d forms name their file, want 4", files)
	}
}

// Both are documents, a long list goes on on further pages, and the same gives the same bytes.
func TestPDF(t *testing.T) {
	pages := func(d paper.Document) int {
		b, err := paper.PDF(d, printed.Time())
		if err != nil || !bytes.HasPrefix(b, []byte("%PDF-")) {
			t.Fatalf("%v: %.20q", err, b)
		}
		again, err := paper.PDF(d, printed.Time())
		if err != nil || !bytes.Equal(b, again) {
			t.Errorf("another time it is another document: %v", err)
		}
		return bytes.Count(b, []byte("/Type /Page\n"))
	}
	if n := pages(paper.Shift(list(2), words.US, time.UTC)); n != 1 {
		t.Errorf("two scopes take %d pages", n)
	}
	if n := pages(paper.Shift(list(60), words.US, time.UTC)); n < 3 {
		t.Errorf("sixty scopes take %d pages", n)
	}
	d := paper.Forms(desk.Blanks{Site: "s", Printed: printed}, words.UK, time.UTC)
	if n := pages(d); n != len(d.Sheets) {
		t.Errorf("%d forms take %d pages", len(d.Sheets), n)
	}
}
