package table

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestPeek(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		reason  string
		file    string
		profile Profile
		want    Peeked
	}{
		{"commas", "a,b\n1, x \n2,y\n3,z\n", Profile{}, Peeked{[]string{"a", "b"}, [][]string{{"1", "x"}, {"2", "y"}}, "comma", "utf-8"}},
		{
			"semicolons, Windows-1252 far below", "a;b\n1;x\n2;y\n3;\xfcber\n",
			Profile{},
			Peeked{[]string{"a", "b"}, [][]string{{"1", "x"}, {"2", "y"}}, "semicolon", "windows-1252"},
		},
		{"lines before the header", "made by hand\na\tb\n1\t2\n", Profile{SkipLines: 1}, Peeked{[]string{"a", "b"}, [][]string{{"1", "2"}}, "tab", "utf-8"}},
		{
			"what the profile says", "a;b|c\n1;2|3\n",
			Profile{Delimiter: "pipe", Encoding: "iso-8859-1"},
			Peeked{[]string{"a;b", "c"}, [][]string{{"1;2", "3"}}, "pipe", "iso-8859-1"},
		},
	} {
		got, err := Peek("file.csv", strings.NewReader(c.file), c.profile, 2)
		if err != nil || !cmp.Equal(got, c.want) {
			t.Errorf("%s: %v\n%s", c.reason, err, cmp.Diff(c.want, got))
		}
	}
	for reason, file := range map[string]string{"nothing": "", "a NUL": "a,b\n\x00\n", "a quote in a word": "a,b\"c\n"} {
		if got, err := Peek("file.csv", strings.NewReader(file), Profile{}, 2); err == nil {
			t.Errorf("%s: %+v", reason, got)
		}
	}
}

func TestProfileText(t *testing.T) {
	t.Parallel()
	for _, p := range []Profile{
		{},
		{Delimiter: "semicolon", Encoding: "windows-1252", Decimal: "comma", Grouping: "none", SkipLines: 3},
		{Time: Clock{Zone: "Europe/Berlin", Format: []string{"DD.MM.YYYY HH:mm", "rfc3339"}, Ambiguous: "second"}},
		{
			Columns: map[string]string{"scope": "Gerät: Nr. #1", "point": "no", "lot": "'12"}, Constant: map[string]string{"kit": "1e3", "person": "~"},
			Values: map[string]map[string]string{"point": {"außen": "outer-distal-end", "": "air-channel"}, "elevator": {"ja": "yes", "no": "no"}},
		},
	} {
		text, err := p.Text()
		if err != nil {
			t.Fatal(err)
		}
		got, err := ParseProfile("profile.yaml", strings.NewReader(string(text)))
		if err != nil || !cmp.Equal(got, p) {
			t.Errorf("%v: %s\n%s", err, cmp.Diff(p, got), text)
		}
	}
}

func TestClockReads(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		clock Clock
		text  string
		want  bool
	}{
		{Clock{}, "2026-03-02T08:00:00+01:00", true},
		{Clock{}, "02.03.2026 08:00", false},
		{Clock{Zone: "Europe/Berlin", Format: []string{"DD.MM.YYYY HH:mm"}}, "02.03.2026 08:00", true},
		{Clock{Zone: "Europe/Berlin", Format: []string{"DD.MM.YYYY HH:mm"}}, "32.03.2026 08:00", false},
		{Clock{Format: []string{"DD.MM.YYYY HH:mm"}}, "02.03.2026 08:00", false}, // of which zone?
	} {
		if got := c.clock.Reads(c.text); got != c.want {
			t.Errorf("%+v reads %q: %v", c.clock, c.text, got)
		}
	}
}
