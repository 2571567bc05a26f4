package list_test

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"rinsate/internal/base/text"
	"rinsate/internal/present/list"
)

// read opens a workbook with a library that knows the whole of the format, and returns its rows.
func read(t interface {
	Helper()
	Fatal(args ...any)
}, book []byte) (sheet string, rows [][]string, f *excelize.File,
) {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(book))
	if err != nil {
		t.Fatal(err)
	}
	if names := f.GetSheetList(); len(names) == 1 {
		sheet = names[0]
	}
	rows, err = f.GetRows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	return sheet, rows, f
}

// begin begins a workbook.
func begin(t interface {
	Helper()
	Fatal(args ...any)
}, to io.Writer, name string, columns []list.Column,
) list.Writer {
	t.Helper()
	w, err := list.New(to, list.XLSX, name, columns)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestSheetIsReadElsewhere(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	w := begin(t, &b, "Readings: 2026/03 [all] of the endoscopes", []list.Column{{Name: "scope"}, {Name: "RLU", Number: true}, {Name: "why"}})
	rows := [][]string{
		{"D-01", "120", "a < b & \"c\""},
		{"=1+1", "-4.5", "two\nlines"},
		{"007", "no number", " spaces "},
		{"_x0041_", "1e3", "bell \a here"},
		{"2026-10-25 02:30 +02:00", "0.1", "2026-10-25 02:30 +01:00"},
		{"2026-02-30 02:30 +02:00", "", "2026-10-25"},
	}
	for _, r := range rows {
		if err := w.Write(r...); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	sheet, got, f := read(t, b.Bytes())
	defer f.Close() //nolint:errcheck // nothing was written to it
	if sheet != "Readings- 2026-03 -all- of the" {
		t.Errorf("the sheet is called %q", sheet)
	}
	rows[1][2], rows[3][2] = "two lines", `bell \u0007 here`
	want := slices.Concat([][]string{{"scope", "RLU", "why"}}, rows)
	if fmt.Sprintf("%q", got) != fmt.Sprintf("%q", want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	const words, number = excelize.CellTypeInlineString, excelize.CellTypeUnset
	for cell, kind := range map[string]excelize.CellType{"A3": words, "A4": words, "B2": number, "B4": words, "A7": words, "C7": words} {
		if got, err := f.GetCellType(sheet, cell); err != nil || got != kind {
			t.Errorf("%s is of type %v (%v), want %v", cell, got, err, kind)
		}
		if formula, err := f.GetCellFormula(sheet, cell); err != nil || formula != "" {
			t.Errorf("%s is a formula: %q (%v)", cell, formula, err)
		}
	}
	// An instant counts as wall time, and each offset is shown with it.
	for cell, serial := range map[string]string{"A6": "46320.10416666667", "C6": "46320.10416666667"} {
		raw, err := f.GetCellValue(sheet, cell, excelize.Options{RawCellValue: true})
		if err != nil || !strings.HasPrefix(raw, serial[:14]) {
			t.Errorf("%s holds %q (%v), want the date %s", cell, raw, err, serial)
		}
	}
	if style, err := f.GetCellStyle(sheet, "A1"); err != nil || style == 0 {
		t.Errorf("the header has no style of its own (%v)", err)
	}
	if panes, err := f.GetPanes(sheet); err != nil || !panes.Freeze || panes.YSplit != 1 {
		t.Errorf("the header is not kept in view: %+v (%v)", panes, err)
	}
}

// Whatever text goes in comes out, but for what would act where it is shown.
func TestSheetKeepsText(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Filter(func(s string) bool { return s != "" && !strings.Contains(s, "\r") && strings.ToValidUTF8(s, "") == s }).Draw(t, "text")
		var b bytes.Buffer
		w := begin(t, &b, s, []list.Column{{Name: "text"}})
		if err := w.Write(s); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		_, rows, f := read(t, b.Bytes())
		defer f.Close() //nolint:errcheck // nothing was written to it
		if len(rows) != 2 || rows[1][0] != text.Line(s) {
			t.Fatalf("%q became %q", s, rows)
		}
	})
}

func TestSheetRefusals(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	w := begin(t, &b, "a", []list.Column{{Name: "a"}})
	if err := w.Write("a", "b"); err == nil {
		t.Error("a row of another length is written")
	}
	w = begin(t, &b, "a", []list.Column{{Name: "a"}})
	if err := w.Write(strings.Repeat("x", 32768)); err == nil {
		t.Error("a cell is cut")
	}
}

func BenchmarkSheet(b *testing.B) {
	columns := make([]list.Column, 10)
	row := make([]string, 10)
	for i := range columns {
		columns[i], row[i] = list.Column{Name: fmt.Sprint("column ", i), Number: i%2 == 0}, fmt.Sprint(i*12345)
	}
	for b.Loop() {
		var out bytes.Buffer
		w := begin(b, &out, "a", columns)
		for range 100_000 {
			if err := w.Write(row...); err != nil {
				b.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
