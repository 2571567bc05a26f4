package table_test

import (
	"errors"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/wire/table"
)

const fullProfile = `# an export of the washers' log
delimiter: semicolon
encoding: windows-1252
skip_lines: 2
decimal: comma
grouping: none
time:
  zone: Europe/Berlin
  format: [DD.MM.YYYY HH:mm, rfc3339]
  ambiguous: first
columns:
  scope: Gerätenummer
values:
  passed: {ja: yes, nein: no, "n/a": ""}
constant:
  facility: north
`

func TestParseProfile(t *testing.T) {
	want := table.Profile{
		Delimiter: "semicolon", Encoding: "windows-1252", SkipLines: 2, Decimal: "comma", Grouping: "none",
		Time:     table.Clock{Zone: "Europe/Berlin", Format: []string{"DD.MM.YYYY HH:mm", "rfc3339"}, Ambiguous: "first"},
		Columns:  map[string]string{"scope": "Gerätenummer"},
		Values:   map[string]map[string]string{"passed": {"ja": "yes", "nein": "no", "n/a": ""}},
		Constant: map[string]string{"facility": "north"},
	}
	tests := []struct {
		name, text string
		want       table.Profile
		reason     string
	}{
		{"all keys", fullProfile, want, "a word such as no stays a word"},
		{"empty", "", table.Profile{}, "the default"},
		{"comment", "# nothing\n", table.Profile{}, "the default"},
		{"separator", "---\n", table.Profile{}, "the default"},
		{"characters", "delimiter: \"\\t\"\ngrouping: \" \"\n", table.Profile{Delimiter: "\t", Grouping: " "}, "delimiters as themselves"},
		{
			"one format", "time: {zone: UTC, format: YYYY-MM-DD HH:mm}",
			table.Profile{Time: table.Clock{Zone: "UTC", Format: []string{"YYYY-MM-DD HH:mm"}}},
			"a list is not needed",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := table.ParseProfile("p.yaml", strings.NewReader(tt.text))
			if err != nil {
				t.Fatalf("%v (%s)", err, tt.reason)
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Errorf("%s\n%s", tt.reason, d)
			}
		})
	}
}

func TestParseProfileRefuses(t *testing.T) {
	tests := []struct{ name, text, want, reason string }{
		{"unknown key", "decimal: comma\ndelimeter: x\n", "p.yaml:2: delimeter: there is no such key", "file, line, key"},
		{"unknown time key", "time:\n  zone: UTC\n  fromat: x\n", "p.yaml:3: time.fromat: there is no such key", "nested"},
		{"twice", "decimal: comma\ndecimal: point\n", "p.yaml:2: decimal: is given twice", "which one counts is anyone's guess"},
		{"no value", "decimal:\n", "p.yaml:1: decimal: has no value", "leave it out instead"},
		{"delimiter", "\ndelimiter: x\n", `p.yaml:2: delimiter: "x" is not auto`, "one of a list"},
		{"encoding", "encoding: utf8\n", `p.yaml:1: encoding: encoding "utf8" is not known; write one of auto, ibm850`, "the list is given"},
		{"decimal", "decimal: ','\n", `p.yaml:1: decimal: "," is neither point nor comma`, "a word"},
		{"grouping", "grouping: x\n", `p.yaml:1: grouping: "x" is not none`, "one of a list"},
		{"grouping is decimal", "decimal: comma\ngrouping: comma\n", `p.yaml:2: grouping: the same character`, "cannot be both"},
		{"skip", "skip_lines: two\n", `p.yaml:1: skip_lines: is not a whole number`, "a number"},
		{"skip below zero", "skip_lines: -1\n", `p.yaml:1: skip_lines: -1 is outside 0–10000`, "range"},
		{"zone", "time:\n  zone: Mars/Nowhere\n", `p.yaml:2: time.zone: "Mars/Nowhere" is not a zone such as Europe/Berlin`, "IANA names"},
		{"local zone", "time: {zone: Local}\n", `time.zone: "Local" is not a zone`, "the machine's zone is not the file's"},
		{"ambiguous", "time: {ambiguous: both}\n", `time.ambiguous: "both" is neither first nor second`, "one of two"},
		{"no zone", "time:\n  format: DD.MM.YYYY HH:mm\n", `p.yaml:2: time.format: "DD.MM.YYYY HH:mm" has no offset, so the zone must be given`, "no guess"},
		{"unknown letter", "time: {zone: UTC, format: yyyy-MM-dd HH:mm}\n", `time.format: "yyyy-MM-dd HH:mm" holds "yyyy-MM-dd HH:mm"`, "the notation's own letters"},
		{"two-digit year", "time: {zone: UTC, format: DD.MM.YY HH:mm}\n", `holds "YY HH:mm"`, "which century is anyone's guess"},
		{"part twice", "time: {zone: UTC, format: DD.MM.YYYY HH:mm:mm}\n", `names the same part twice (mm)`, "contradiction"},
		{"part missing", "time: {zone: UTC, format: DD.MM.YYYY HH}\n", `lacks a part`, "a day is not a moment"},
		{"half day without A", "time: {zone: UTC, format: DD.MM.YYYY hh:mm}\n", `must use A together with hh or h`, "morning or evening"},
		{"A with a full day", "time: {zone: UTC, format: DD.MM.YYYY HH:mm A}\n", `must use A together with hh or h`, "contradiction"},
		{"fraction without seconds", "time: {zone: UTC, format: DD.MM.YYYY HH:mm.S}\n", `has a fraction but no seconds`, "of what"},
		{"unclear width", "time: {zone: UTC, format: DMMYYYY HH:mm}\n", `needs a separator before MM`, "1112025 has two readings"},
		{"empty list", "time: {format: []}\n", `time.format: the list is empty`, "leave it out instead"},
		{"list of lists", "time: {format: [[x]]}\n", `time.format: is not a plain text`, "shape"},
		{"not a mapping", "- a\n", `p.yaml:1: is not a mapping`, "shape"},
		{"columns not a mapping", "columns: x\n", `p.yaml:1: columns: is not a mapping`, "shape"},
		{"key not a text", "columns: {[a]: x}\n", `p.yaml:1: columns: a key is not a plain text`, "shape"},
		{"alias", "columns: &a {scope: x}\nconstant: *a\n", `p.yaml:2: constant: is not a mapping`, "aliases hide what is said, and can be made to swell"},
		{"field twice", "columns:\n  scope id: x\n  scope_id: y\n", `columns.scope_id: the field name is empty or given twice`, "the same name"},
		{"constant twice", "constant:\n  scope id: x\n  Scope-Id: y\n", `constant.scope id: the field name is empty or given twice`, "the same name"},
		{"values twice", "values:\n  scope id: {}\n  Scope-Id: {}\n", `values.scope id: the field name is empty or given twice`, "the same name"},
		{"second document broken", "decimal: comma\n---\na: [\n", `p.yaml: yaml: `, "also reported"},
		{"empty header", "columns:\n  scope: ' '\n", `p.yaml:2: columns.scope: the header is empty`, "no column has that"},
		{
			"column and constant", "columns: {scope: x}\nconstant: {Scope: y}\n", `p.yaml:2: constant.Scope: the field also has a column`,
			"which one counts is anyone's guess",
		},
		{"value twice", "values:\n  ok: {ja: yes, JA: no}\n", `p.yaml:2: values.ok: "ja" is given twice but for case`, "case does not count"},
		{"second document", "decimal: comma\n---\ndecimal: point\n", `p.yaml:2: a second document begins here`, "one would be lost"},
		{"not YAML", "a: [\n", `p.yaml: yaml: line`, "the parser's own words"},
		{"too long", strings.Repeat("#", 64<<10+1), `p.yaml: the profile is longer than 65536 bytes`, "bounded"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := table.ParseProfile("p.yaml", strings.NewReader(tt.text))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got  %v\nwant %s (%s)", err, tt.want, tt.reason)
			}
		})
	}
	broken := errors.New("gone")
	if _, err := table.ParseProfile("p.yaml", iotest.ErrReader(broken)); !errors.Is(err, broken) {
		t.Errorf("got %v, want the reader's fault", err)
	}
}

func FuzzProfile(f *testing.F) {
	for _, seed := range []string{
		fullProfile, "", "a: &a [*a]\n", "time: {format: [x]}", "{", "columns: {a: b}\n---\n", "? [a]\n: b\n",
		"values: {a: {b: !!binary x}}",
	} {
		f.Add(seed, "a;b\n1;2\n")
	}
	f.Fuzz(func(t *testing.T, text, data string) {
		p, err := table.ParseProfile("p.yaml", strings.NewReader(text))
		if err != nil {
			if !strings.HasPrefix(err.Error(), "p.yaml") {
				t.Fatalf("an error without its file: %v", err)
			}
			return
		}
		// What ParseProfile lets through, Open may only refuse for its fields or the data.
		file, err := table.Open("f.csv", strings.NewReader(data), p, []table.Field{{Name: "a"}})
		var fault *table.ProfileError
		if errors.As(err, &fault) && !strings.Contains(fault.Problem, "there is no such field") {
			t.Fatalf("refused late: %v", err)
		}
		if err != nil {
			return
		}
		a := file.Field("a")
		for file.Next() {
			a.Number()
			a.Int(0, 10)
			a.Time()
			if text := a.Text(); strings.ContainsAny(text, "\x00\n\r") {
				t.Fatalf("text %q", text)
			}
		}
	})
}
