package table_test

import (
	"errors"
	"strings"
	"testing"
	"unicode"

	"pgregory.net/rapid"

	"rinsate/internal/wire/table"
)

func written(t *testing.T, o table.WriterOptions, records ...[]string) string {
	t.Helper()
	var b strings.Builder
	w := table.NewWriter(&b, o)
	for _, r := range records {
		if err := w.Write(r...); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestWriterForms(t *testing.T) {
	tests := []struct {
		name    string
		options table.WriterOptions
		record  []string
		want    string
		reason  string
	}{
		{"plain", table.WriterOptions{}, []string{"a", "", "b c"}, "a,,b c\n", "nothing to quote"},
		{"crlf", table.WriterOptions{CRLF: true}, []string{"a", "b"}, "a,b\r\n", "RFC 4180, 2.1"},
		{"semicolon, mark", table.WriterOptions{Delimiter: ';', BOM: true}, []string{"a", "b"}, "\ufeffa;b\n", "for spreadsheets"},
		{"quotes", table.WriterOptions{}, []string{`say "x"`, "a\nb", "a,b"}, "\"say \"\"x\"\"\",\"a\nb\",\"a,b\"\n", "RFC 4180, 2.6 and 2.7"},
		{"other delimiters", table.WriterOptions{}, []string{"a;b", "c|d"}, "\"a;b\",\"c|d\"\n", "else the delimiter could be mistaken"},
		{"empty alone", table.WriterOptions{}, []string{""}, "\"\"\n", "not a blank line"},
		{"mark in a cell", table.WriterOptions{}, []string{"\ufeffa", "b"}, "\"\ufeffa\",b\n", "not the file's mark"},
		{"sep in a cell", table.WriterOptions{}, []string{"sep=;"}, "\"sep=;\"\n", "not a sep= line"},
		{
			"formula",
			table.WriterOptions{},
			[]string{"=1+1", "+1+1", "-1+1", "@x", "\tx", "\rx"},
			"'=1+1,'+1+1,'-1+1,'@x,\"'\tx\",\"'\rx\"\n", "a spreadsheet would run them",
		},
		{"full-width formula", table.WriterOptions{}, []string{"＝1", "＋1", "－1", "＠x", "\nx"}, "'＝1,'＋1,'－1,'＠x,\"'\nx\"\n", "some spreadsheets would run them"},
		{"numbers", table.WriterOptions{}, []string{"-4.5", "+3", "-1e5", "-4,5"}, "-4.5,+3,'-1e5,\"'-4,5\"\n", "a plain number runs nothing"},
		{"apostrophes", table.WriterOptions{}, []string{"'a", "'=a", "''-5", "'"}, "'a,''=a,'''-5,'\n", "one more, so that reading can take one off"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := written(t, tt.options, tt.record); got != tt.want {
				t.Errorf("got  %q\nwant %q (%s)", got, tt.want, tt.reason)
			}
		})
	}
}

func TestWriterRefuses(t *testing.T) {
	var b strings.Builder
	w := table.NewWriter(&b, table.WriterOptions{})
	for _, record := range [][]string{{}, {"a\x00"}, {"\xff"}} {
		if err := w.Write(record...); err == nil {
			t.Errorf("%q was written", record)
		}
	}
	if err := w.Write("a", "b"); err != nil {
		t.Errorf("a refused record is not counted: %v", err)
	}
	if err := w.Write("a"); err == nil || err.Error() != "record 2 has 1 fields, the first has 2" {
		t.Errorf("a ragged record: got %v", err)
	}
	if err := w.Flush(); err != nil || b.String() != "a,b\n" {
		t.Errorf("got %q, %v: of a refused record nothing may be written", b.String(), err)
	}
	broken := errors.New("disk full")
	w = table.NewWriter(failing{broken}, table.WriterOptions{})
	_ = w.Write(strings.Repeat("x", 10_000))
	if err := w.Flush(); !errors.Is(err, broken) {
		t.Errorf("got %v, want the fault below", err)
	}
	if err := w.Write("a"); !errors.Is(err, broken) {
		t.Errorf("got %v, want the fault to stay", err)
	}
	defer func() {
		if recover() == nil {
			t.Error("a delimiter that reading does not look for was taken")
		}
	}()
	table.NewWriter(&b, table.WriterOptions{Delimiter: 'x'})
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// texts draws trimmed texts without control characters, often beginning as a formula.
func texts() *rapid.Generator[string] {
	character := rapid.OneOf(rapid.SampledFrom([]rune("'=+-@\t,;|\"＝ 09.sep\ufeff")), rapid.Rune())
	return rapid.Custom(func(t *rapid.T) string {
		runes := rapid.SliceOfN(character, 0, 12).Draw(t, "runes")
		kept := runes[:0]
		for _, r := range runes {
			if (r == '\t' || !unicode.IsControl(r)) && r != unicode.ReplacementChar {
				kept = append(kept, r)
			}
		}
		return strings.TrimRightFunc(strings.TrimLeftFunc(string(kept), func(r rune) bool { return r != '\t' && unicode.IsSpace(r) }), unicode.IsSpace)
	})
}

func TestWhatIsWrittenReadsBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		o := table.WriterOptions{
			Delimiter: rapid.SampledFrom([]byte(",;\t|")).Draw(rt, "delimiter"),
			CRLF:      rapid.Bool().Draw(rt, "crlf"), BOM: rapid.Bool().Draw(rt, "bom"),
		}
		rows := rapid.SliceOfN(rapid.SliceOfN(texts(), 2, 2), 1, 8).Draw(rt, "rows")
		records := [][]string{{"id", "first", "second"}}
		for _, row := range rows {
			records = append(records, append([]string{"x"}, row...))
		}
		text := written(t, o, records...)
		file, err := table.Open("f.csv", strings.NewReader(text), table.Profile{}, []table.Field{{Name: "id"}, {Name: "first"}, {Name: "second"}})
		if err != nil {
			rt.Fatal(err)
		}
		n := 0
		for ; file.Next(); n++ {
			if first, second := file.Field("first").Text(), file.Field("second").Text(); first != rows[n][0] || second != rows[n][1] {
				rt.Fatalf("row %d: got %q, %q; want %q, %q", n, first, second, rows[n][0], rows[n][1])
			}
		}
		if file.Err() != nil || n != len(rows) {
			rt.Fatalf("%d rows of %d, %v", n, len(rows), file.Err())
		}
		// No cell begins as a formula, save for plain numbers.
		tok := table.NewTokenizer("f.csv", strings.NewReader(strings.TrimPrefix(text, "\ufeff")), o.Delimiter, 0)
		for tok.Next() {
			for i := range tok.Len() {
				cell := string(tok.Field(i))
				if cell != "" && strings.ContainsAny(cell[:1], "=@\t\r\n") {
					rt.Fatalf("cell %q", cell)
				}
				if cell != "" && strings.ContainsAny(cell[:1], "+-") && strings.Trim(cell[1:], "0123456789.") != "" {
					rt.Fatalf("cell %q", cell)
				}
			}
		}
	})
}
