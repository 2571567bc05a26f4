package table_test

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"rinsate/internal/wire/table"
)

func encoded(t *testing.T, e encoding.Encoding, text string) string {
	t.Helper()
	out, err := e.NewEncoder().String(text)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestEncodings(t *testing.T) {
	const text = "id;Gerät\n1;Größe ß – ½\n"
	const plain = "id;Gerät\n1;Größe ß ½\n" // without the dash, which ISO 8859-1 and code page 850 lack
	le, be := unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM), unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM)
	long := strings.Repeat("0;x\n", 40_000) // longer than any buffer
	tests := []struct {
		name, encoding, in string
		cell, found        string
		reason             string
	}{
		{"utf-8", "", text, "Größe ß – ½", "utf-8", "found by its first letter outside ASCII"},
		{"utf-8 with mark", "", "\xef\xbb\xbf" + text, "Größe ß – ½", "utf-8", "the mark is no part of the header"},
		{"utf-8 named", "utf-8", "\xef\xbb\xbf" + text, "Größe ß – ½", "utf-8", "the mark is taken off here too"},
		{"utf-16le by mark", "", "\xff\xfe" + encoded(t, le, text), "Größe ß – ½", "utf-16le", "what spreadsheets call Unicode text"},
		{"utf-16be by mark", "", "\xfe\xff" + encoded(t, be, text), "Größe ß – ½", "utf-16be", "the other byte order"},
		{"utf-16 with mark", "utf-16", "\xff\xfe" + encoded(t, le, text), "Größe ß – ½", "utf-16le", "the mark decides"},
		{"utf-16 without mark", "utf-16", encoded(t, be, text), "Größe ß – ½", "utf-16", "RFC 2781, 4.3: big-endian"},
		{"utf-16le named", "UTF-16LE", encoded(t, le, text), "Größe ß – ½", "utf-16le", "no mark needed"},
		{"utf-16 outside the plane", "", "\xff\xfe" + encoded(t, le, "id;Gerät\n1;𝄞\n"), "𝄞", "utf-16le", "a surrogate pair"},
		{"windows-1252 found", "", encoded(t, charmap.Windows1252, text), "Größe ß – ½", "windows-1252", "not UTF-8 at its first letter outside ASCII"},
		{"windows-1252 named", "windows-1252", encoded(t, charmap.Windows1252, text), "Größe ß – ½", "windows-1252", "as named"},
		{"iso-8859-1", "iso-8859-1", encoded(t, charmap.ISO8859_1, plain), "Größe ß ½", "iso-8859-1", "as named"},
		{"ibm850", "ibm850", encoded(t, charmap.CodePage850, plain), "Größe ß ½", "ibm850", "as named"},
		{"ascii", "", "id;note\n1;x\n", "x", "utf-8", "ASCII is both"},
		{"late umlaut, utf-8", "", "id;note\n" + long + "1;ä", "ä", "utf-8", "decided where it shows, not in the first block"},
		{"late umlaut, windows-1252", "", "id;note\n" + long + "1;\xe4", "ä", "windows-1252", "decided where it shows, at the very end of the file"},
		{"late umlaut, more to come", "", "id;note\n" + long + "1;\xe4\n2;\xfc\n", "ä", "windows-1252", "and kept"},
	}
	for _, tt := range tests {
		for name, wrap := range map[string]func(io.Reader) io.Reader{
			"whole": func(r io.Reader) io.Reader { return r }, "bytes": iotest.OneByteReader, "error with data": iotest.DataErrReader,
		} {
			t.Run(tt.name+" "+name, func(t *testing.T) {
				fields := []table.Field{{Name: "id"}, {Name: "Gerät"}, {Name: "note"}}
				table, err := table.Open("f.csv", wrap(strings.NewReader(tt.in)), table.Profile{Encoding: tt.encoding}, fields)
				if err != nil {
					t.Fatal(err)
				}
				got := ""
				for table.Next() {
					if table.Field("id").Int(0, 9) == 1 {
						got = table.Field("Gerät").Text() + table.Field("note").Text()
					}
				}
				if err := table.Err(); err != nil {
					t.Fatal(err)
				}
				if got != tt.cell || table.Encoding() != tt.found {
					t.Errorf("got %q as %s, want %q as %s (%s)", got, table.Encoding(), tt.cell, tt.found, tt.reason)
				}
			})
		}
	}
}

func TestEncodingFaults(t *testing.T) {
	tests := []struct{ name, encoding, in, want, reason string }{
		{
			"mark against name", "windows-1252", "\xef\xbb\xbfid\n1\n",
			"f.csv: the file begins with the byte order mark of utf-8, but the profile says windows-1252", "one of the two is wrong",
		},
		{
			"mark against utf-16", "utf-16", "\xef\xbb\xbfid\n1\n",
			"f.csv: the file begins with the byte order mark of utf-8, but the profile says utf-16", "one of the two is wrong",
		},
		{
			"mark against byte order", "utf-16be", "\xff\xfei\x00",
			"f.csv: the file begins with the byte order mark of utf-16le, but the profile says utf-16be", "one of the two is wrong",
		},
		{
			"utf-8 named but not", "utf-8", "id;note\n1;äx\xe4\n",
			"f.csv:2:5: byte 0xE4 is not valid UTF-8; name the file's encoding in the profile", "line and character",
		},
		{"utf-8, then not", "", "id;note\n1;ä\n2;\xe4\n", "f.csv:3:3: byte 0xE4 is not valid UTF-8; name the file's encoding in the profile", "no mixture"},
		{
			"utf-8 cut short", "", "id;note\n1;ä\n2;\xc3",
			"f.csv:3:3: byte 0xC3 is not valid UTF-8; name the file's encoding in the profile", "a letter torn at the end",
		},
		{
			"utf-8 mark, then not", "", "\xef\xbb\xbfid;note\n1;\xe4\n",
			"f.csv:2:3: byte 0xE4 is not valid UTF-8; name the file's encoding in the profile", "the mark has decided",
		},
		{
			"utf-16 without mark or name", "", "i\x00d\x00\n\x00",
			"f.csv:1:2: a NUL byte; the file may be UTF-16 (name the encoding in the profile) or not be text",
			"the likely cause is named",
		},
		{
			"lone surrogate", "utf-16le",
			encoded(t, unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM), "id;note\n1;") + "\x00\xd8x\x00\n\x00",
			`f.csv:2: column "note": "�x" holds a character that could not be decoded; the file may be in another encoding`,
			"lost, and said so",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			for _, r := range []io.Reader{strings.NewReader(tt.in), iotest.OneByteReader(strings.NewReader(tt.in))} {
				table, err := table.Open("f.csv", r, table.Profile{Encoding: tt.encoding}, []table.Field{{Name: "id"}, {Name: "note"}})
				if err == nil {
					for table.Next() {
						table.Field("note").Text()
					}
					err = table.Err()
				}
				if err == nil || err.Error() != tt.want {
					t.Errorf("got  %v\nwant %s (%s)", err, tt.want, tt.reason)
				}
			}
		})
	}
}

func TestOpenReportsTheReadersFault(t *testing.T) {
	broken := errors.New("gone")
	for _, start := range []string{"", "id\n1\n"} {
		table, err := table.Open("f.csv", io.MultiReader(strings.NewReader(start), iotest.ErrReader(broken)), table.Profile{}, nil)
		rows := 0
		if err == nil {
			for table.Next() {
				rows++
			}
			err = table.Err()
		}
		if !errors.Is(err, broken) || !strings.HasPrefix(err.Error(), "f.csv:") || rows != strings.Count(start, "1") {
			t.Errorf("after %q: %d rows, %v", start, rows, err)
		}
	}
}

func TestProgressCounts(t *testing.T) {
	var seen []int64
	r := table.Progress(iotest.OneByteReader(bytes.NewReader(make([]byte, 10))), func(n int64) { seen = append(seen, n) })
	text, err := io.ReadAll(r)
	if err != nil || len(text) != 10 {
		t.Fatal(len(text), err)
	}
	for i, n := range seen {
		if i > 0 && n <= seen[i-1] {
			t.Errorf("told %v, which does not grow", seen)
		}
	}
	if len(seen) != 10 || seen[len(seen)-1] != 10 {
		t.Errorf("told %v, want 10 at the end", seen)
	}
	broken := errors.New("gone")
	if _, err := io.ReadAll(table.Progress(iotest.ErrReader(broken), func(int64) { t.Error("told of nothing") })); !errors.Is(err, broken) {
		t.Errorf("got %v, want the reader's fault", err)
	}
}
