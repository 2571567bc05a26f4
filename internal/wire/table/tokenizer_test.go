package table_test

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/wire/table"
)

// tokens reads everything, and the line of each record.
func tokens(r io.Reader, delimiter byte, maxRecord int) (records [][]string, lines []int, err error) {
	t := table.NewTokenizer("f.csv", r, delimiter, maxRecord)
	for t.Next() {
		record := make([]string, t.Len())
		for i := range record {
			record[i] = string(t.Field(i))
		}
		records = append(records, record)
		lines = append(lines, t.Line())
	}
	return records, lines, t.Err()
}

func TestTokenizerSplitsRecords(t *testing.T) {
	tests := []struct {
		name, in string
		want     [][]string
		lines    []int
		reason   string
	}{
		{"plain", "a,b\nc,d\n", [][]string{{"a", "b"}, {"c", "d"}}, []int{1, 2}, "RFC 4180, 2.1"},
		{"no last break", "a,b\nc,d", [][]string{{"a", "b"}, {"c", "d"}}, []int{1, 2}, "RFC 4180, 2.2"},
		{"cr lf", "a\r\nb\r\n", [][]string{{"a"}, {"b"}}, []int{1, 2}, "the break of RFC 4180"},
		{"lone cr", "a\rb\r\rc", [][]string{{"a"}, {"b"}, {"c"}}, []int{1, 2, 4}, "old spreadsheets end lines so"},
		{"mixed breaks", "a\r\nb\rc\n\r\nd", [][]string{{"a"}, {"b"}, {"c"}, {"d"}}, []int{1, 2, 3, 5}, "each break is one line"},
		{"blank lines", "\n\r\na\n\n\nb\n\n", [][]string{{"a"}, {"b"}}, []int{3, 6}, "passed over but counted"},
		{"empty fields", ",\n,,", [][]string{{"", ""}, {"", "", ""}}, []int{1, 2}, "rows may differ here"},
		{"quoted", "\"a,b\",\"c\"\"d\"\n\"\"\"\",\"\"", [][]string{{"a,b", `c"d`}, {`"`, ""}}, []int{1, 2}, "RFC 4180, 2.6 and 2.7"},
		{"break inside quotes", "\"a\nb\r\nc\rd\",e\nf", [][]string{{"a\nb\r\nc\rd", "e"}, {"f"}}, []int{1, 5}, "kept as it is, lines counted"},
		{"empty quoted line", "\"\"\n", [][]string{{""}}, []int{1}, "a record, not a blank line"},
		{"spaces", " a , b \n", [][]string{{" a ", " b "}}, []int{1}, "RFC 4180, 2.4: spaces are part of a field"},
		{"nothing", "", nil, nil, "no record"},
	}
	for _, tt := range tests {
		for _, one := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s one=%v", tt.name, one), func(t *testing.T) {
				var r io.Reader = strings.NewReader(tt.in)
				if one {
					r = iotest.DataErrReader(iotest.OneByteReader(r))
				}
				got, lines, err := tokens(r, ',', 0)
				if err != nil {
					t.Fatalf("%v (%s)", err, tt.reason)
				}
				if d := cmp.Diff(tt.want, got) + cmp.Diff(tt.lines, lines); d != "" {
					t.Errorf("%s\n%s", tt.reason, d)
				}
			})
		}
	}
}

func TestTokenizerRefuses(t *testing.T) {
	tests := []struct{ name, in, want, reason string }{
		{"quote inside", "a,b\nc,xä\"y\"", `f.csv:2:5: a quote stands in a field that does not begin with one`, "columns count characters"},
		{"text after quote", "\"a\nb\"c,d", `f.csv:2:3: text follows a closing quote`, "the line of the fault, not of the record"},
		{"space after quote", "\"a\" ,b", `f.csv:1:4: text follows a closing quote`, "RFC 4180 has none"},
		{"never closed", "a\nb,\"c\nd\n", `f.csv:2:3: the quote that opens here is never closed`, "where it opens helps more than where the file ends"},
		{"nul", "a,b\nc,d\x00", `f.csv:2:4: a NUL byte; the file may be UTF-16 (name the encoding in the profile) or not be text`, "place and likely cause"},
		{"nul in quotes", "\"a\nb\x00\"", `f.csv:2:2: a NUL byte; the file may be UTF-16 (name the encoding in the profile) or not be text`, "also there"},
		{"nul after quote", "\"a\"\x00", `f.csv:1:4: a NUL byte; the file may be UTF-16 (name the encoding in the profile) or not be text`, "also there"},
		{
			"too long", "a\nb\n" + strings.Repeat("x", 101) + "\n",
			`f.csv:3: the record that starts here is longer than 100 bytes; is a quote left open?`, "line and limit",
		},
		{
			"too long, fault later", "a\n" + strings.Repeat("x", 101) + "\"",
			`f.csv:2: the record that starts here is longer than 100 bytes; is a quote left open?`,
			"the limit comes first, however large the buffer",
		},
		{
			"unclosed and too long", "a\n\"" + strings.Repeat("x\n", 80),
			`f.csv:2: the record that starts here is longer than 100 bytes; is a quote left open?`,
			"not at the end of the file but at the limit",
		},
		{
			"too many fields", "a\n" + strings.Repeat(",", 4096),
			`f.csv:2: the record that starts here is longer than 100 bytes; is a quote left open?`, "the limit comes first",
		},
	}
	for _, tt := range tests {
		for _, one := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s one=%v", tt.name, one), func(t *testing.T) {
				var r io.Reader = strings.NewReader(tt.in)
				if one {
					r = iotest.OneByteReader(r)
				}
				_, _, err := tokens(r, ',', 100)
				var syntax *table.SyntaxError
				if !errors.As(err, &syntax) || err.Error() != tt.want {
					t.Errorf("got %v\nwant %s (%s)", err, tt.want, tt.reason)
				}
			})
		}
	}
}

func TestTokenizerAcrossBuffers(t *testing.T) {
	// The buffer holds 64 KiB at first: every byte of the tail comes to lie on its border once, so
	// that breaks, doubled quotes and letters are torn apart.
	const tail = "x,y\r\n\r\n\"ä\"\"\r\n\"\"\",\"\"\r\r\nz,ü\r\n"
	want := [][]string{{"x", "y"}, {"ä\"\r\n\"", ""}, {"z", "ü"}}
	for at := range len(tail) + 1 {
		long := strings.Repeat("p", 64<<10-at-6)
		got, lines, err := tokens(strings.NewReader("a,b\n"+long+",\n"+tail), ',', 0)
		if err != nil {
			t.Fatalf("border at %d: %v", at, err)
		}
		if d := cmp.Diff(want, got[2:]) + cmp.Diff([]int{1, 2, 3, 5, 8}, lines); d != "" {
			t.Fatalf("border at %d: %s", at, d)
		}
		// The same with the long line skipped, whose break is then torn apart.
		for _, end := range []string{"\r\n", "\r", "\n"} {
			for skip, before := range []string{"", long + "12345" + end, long + "12345" + end + end, end + long + long + long + end + "q" + end} {
				text := before + "a,b" + end + tail
				file, err := table.Open("f.csv", strings.NewReader(text), table.Profile{SkipLines: skip}, []table.Field{{Name: "a", Required: true}})
				if err != nil || !file.Next() || file.Line() != skip+2 || file.Field("a").Text() != "x" {
					t.Fatalf("border at %d, break %q, %d lines skipped: %v", at, end, skip, err)
				}
			}
		}
	}
}

func TestTokenizerLimits(t *testing.T) {
	if _, _, err := tokens(strings.NewReader(strings.Repeat("x", 100)+"\r\n"), ',', 100); err != nil {
		t.Errorf("a record of exactly the limit: %v", err)
	}
	_, _, err := tokens(strings.NewReader(strings.Repeat(",", 4096)), ',', 0)
	if want := "f.csv:1:4097: the record has more than 4096 fields"; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	if got, _, err := tokens(strings.NewReader(strings.Repeat(",", 4095)), ',', 0); err != nil || len(got[0]) != 4096 {
		t.Errorf("4096 fields: %v", err)
	}
}

func TestTokenizerReportsTheReadersFault(t *testing.T) {
	broken := errors.New("the line went dead")
	got, _, err := tokens(io.MultiReader(strings.NewReader("a,b\nc,d\ne,"), iotest.ErrReader(broken)), ',', 0)
	if !errors.Is(err, broken) || err.Error() != "f.csv:3:3: the line went dead" {
		t.Errorf("got %v", err)
	}
	if d := cmp.Diff([][]string{{"a", "b"}, {"c", "d"}}, got); d != "" {
		t.Errorf("whole records before the fault are given, the torn one is not: %s", d)
	}
	_, _, err = tokens(stuck{}, ',', 0)
	if !errors.Is(err, io.ErrNoProgress) {
		t.Errorf("a reader that gives nothing: got %v", err)
	}
}

type stuck struct{}

func (stuck) Read([]byte) (int, error) { return 0, nil }

func TestNewTokenizerPanicsOnImpossibleDelimiters(t *testing.T) {
	for _, d := range []byte{'"', '\n', '\r', 0, 0x80} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%q was taken", d)
				}
			}()
			table.NewTokenizer("f", strings.NewReader(""), d, 0)
		}()
	}
}

// endless gives the start once and then the middle again and again, up to size bytes in all.
type endless struct {
	start, middle []byte
	size, given   int
}

func (e *endless) Read(p []byte) (int, error) {
	if e.given >= e.size {
		return 0, io.EOF
	}
	n := 0
	for n < len(p) && e.given < e.size {
		src := e.middle
		at := (e.given - len(e.start)) % len(e.middle)
		if e.given < len(e.start) {
			src, at = e.start, e.given
		}
		m := copy(p[n:min(len(p), n+e.size-e.given)], src[at:])
		n += m
		e.given += m
	}
	return n, nil
}

func TestMemoryIsBounded(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	tests := []struct {
		name, start, middle string
		size                int
		gives               bool // up early
		reason              string
	}{
		{"one line", "a,b\n", "x", 100e6, true, "100 MB without a break"},
		{"unclosed quote", "a,b\n\"", "x,y\n", 100e6, true, "100 MB inside a quote"},
		{"delimiters", "a,b\n", ",", 100e6, true, "the offsets of fields are bounded too"},
		{"windows-1252", "a,b\n", "\xe4", 100e6, true, "decoding in between"},
		{"utf-16", "\xff\xfea\x00\n\x00", "x\x00", 100e6, true, "decoding in between"},
		{"blank lines", "a,b\n", "\n", 20e6, false, "lines that hold nothing"},
		{"empty rows", "a,b\n", ",\n", 20e6, false, "rows that hold nothing"},
		{"ragged rows", "a,b\n", "1,2,3,4,5,6\n", 20e6, false, "errors are capped"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			src := &endless{start: []byte(tt.start), middle: []byte(tt.middle), size: tt.size}
			file, err := table.Open("f.csv", src, table.Profile{}, []table.Field{{Name: "a"}})
			if err == nil {
				for file.Next() {
				}
				err = file.Err()
			}
			runtime.ReadMemStats(&after)
			// All that was ever allocated, not only what was live: a buffer of at most 4 MiB, grown
			// by doubling, the decoder's blocks, and the errors.
			if got := after.TotalAlloc - before.TotalAlloc; got > 10<<20 {
				t.Errorf("%d bytes allocated for a record limit of %d (%s)", got, table.DefaultMaxRecord, tt.reason)
			}
			if tt.gives && (err == nil || src.given > 8<<20) {
				t.Errorf("read %d bytes before giving up with %v (%s)", src.given, err, tt.reason)
			}
			if !tt.gives && (src.given != tt.size || (err != nil) != (tt.name == "ragged rows")) {
				t.Errorf("read %d bytes of %d, %v (%s)", src.given, tt.size, err, tt.reason)
			}
		})
	}
}

func FuzzTokenizer(f *testing.F) {
	for _, seed := range []string{
		"a,b\nc,d\n", "\"a\"\"b\",c\r\n", "a\"b", "\"a\"b", "\"a\nb\"", "\"", "a,\n,b", "\n\n", "\"\"\"\"", "a,\"b\r\nc\"\n",
		"\xef\xbb\xbfa", "\"a\"\n\"b", ",\"\"", "x\xff,y",
	} {
		f.Add(seed, byte(0))
		f.Add(seed, byte(1))
	}
	f.Fuzz(func(t *testing.T, text string, kind byte) {
		delimiter := ",;\t|"[kind%4]
		var r io.Reader = strings.NewReader(text)
		if kind >= 128 {
			r = iotest.OneByteReader(r)
		}
		got, lines, err := tokens(r, delimiter, 0)
		for i, n := range lines {
			if n < 1 || n > 1+strings.Count(text, "\n")+strings.Count(text, "\r") || (i > 0 && n <= lines[i-1]) {
				t.Fatalf("record %d is said to start on line %d", i, n)
			}
		}
		// The oracle takes NUL for text and a lone CR for part of a field.
		if strings.ContainsRune(text, 0) || strings.Count(text, "\r") != strings.Count(text, "\r\n") {
			return
		}
		oracle := csv.NewReader(strings.NewReader(text))
		oracle.FieldsPerRecord = -1
		oracle.Comma = rune(delimiter)
		want, oracleErr := oracle.ReadAll()
		if (err == nil) != (oracleErr == nil) {
			t.Fatalf("tokenizer: %v; oracle: %v", err, oracleErr)
		}
		if err != nil {
			return
		}
		for _, record := range got {
			for i := range record {
				record[i] = strings.ReplaceAll(record[i], "\r\n", "\n") // as the oracle does inside quotes
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
	})
}

// million is 1,000,000 rows of 8 columns, 61 bytes each.
func million() []byte {
	var b bytes.Buffer
	b.WriteString("scope;port;at;site;kind;rlu;unit;note\n")
	for i := range 1_000_000 {
		fmt.Fprintf(&b, "S%06d;biopsy;2026-11-25T08:30:00Z;dist;adenos;%05d;RLU;ab\n", i, i%10000)
	}
	return b.Bytes()
}

func BenchmarkTokenizer(b *testing.B) {
	data := million()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		t := table.NewTokenizer("f.csv", bytes.NewReader(data), ';', 0)
		rows, size := 0, 0
		for t.Next() {
			for i := range t.Len() {
				size += len(t.Field(i))
			}
			rows++
		}
		if rows != 1_000_001 || size == 0 || t.Err() != nil {
			b.Fatal(rows, t.Err())
		}
	}
}

func BenchmarkTable(b *testing.B) {
	data := million()
	fields := []table.Field{{Name: "scope"}, {Name: "at"}, {Name: "rlu"}, {Name: "port"}}
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		t, err := table.Open("f.csv", bytes.NewReader(data), table.Profile{}, fields)
		if err != nil {
			b.Fatal(err)
		}
		at, rlu, port := t.Field("at"), t.Field("rlu"), t.Field("port")
		for t.Next() {
			at.Time()
			rlu.Int(0, 9_999_999)
			port.Word("biopsy", "suction")
		}
		if t.Err() != nil {
			b.Fatal(t.Err())
		}
	}
}
