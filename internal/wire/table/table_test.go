package table_test

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/wire/table"
)

var readings = []table.Field{
	{Name: "scope_id", Required: true},
	{Name: "at", Required: true, Kind: table.KindTime},
	{Name: "rlu", Required: true, Kind: table.KindInt, Help: "the value shown"},
	{Name: "result", Kind: table.KindWord, Allowed: []string{"pass", "fail", "retest"}},
	{Name: "note"},
}

func open(t *testing.T, text string, p table.Profile, fields []table.Field) *table.Table {
	t.Helper()
	file, err := table.Open("readings.csv", strings.NewReader(text), p, fields)
	if err != nil {
		t.Fatal(err)
	}
	return file
}

func TestTableReadsRows(t *testing.T) {
	file := open(t, "sep=;\r\nScope ID;AT; rlu ;extra;;Note\r\n\r\nS1;2026-11-25T08:30:00Z;12;x;;\" a;b \"\r\n;;;;;\r\n S2 ;2026-11-25T08:30:00+01:00;0;;;\r\n",
		table.Profile{}, readings)
	if d := cmp.Diff([]string{"extra", "column 5 (no header)"}, file.Ignored()); d != "" {
		t.Errorf("ignored: %s", d)
	}
	if file.Delimiter() != ';' || file.Field("result").Present() || !file.Field("note").Present() || file.Field("rlu").Header() != "rlu" {
		t.Errorf("delimiter %q, result %v, note %v", file.Delimiter(), file.Field("result").Present(), file.Field("note").Present())
	}
	type row struct {
		Line    int
		Scope   string
		At      string
		RLU     int
		Has     bool
		Note    string
		NoField string
	}
	var got []row
	for file.Next() {
		got = append(got, row{
			file.Line(), file.Field("scope_id").Text(), file.Field("at").Time().String(), file.Field("rlu").Int(0, 9_999_999),
			file.Field("note").Has(), file.Field("note").Text(), file.Field("result").Word(),
		})
	}
	want := []row{
		{4, "S1", "2026-11-25T08:30:00Z", 12, true, "a;b", ""},
		{6, "S2", "2026-11-25T07:30:00Z", 0, false, "", ""},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if err := file.Err(); err != nil {
		t.Error(err)
	}
	if file.Next() || file.Field("scope_id").Text() != "" || file.Err() != nil {
		t.Error("after the last row there is none, and required cells are not missed")
	}
}

func TestCellErrors(t *testing.T) {
	tests := []struct {
		name, cell string
		required   bool
		read       func(table.Column)
		want       string
		reason     string
	}{
		{"whole number", "18x", false, func(c table.Column) { c.Int(0, 9_999_999) }, `"18x" is not a whole number 0–9999999`, "letters"},
		{"too large", "101", false, func(c table.Column) { c.Int(0, 100) }, `"101" is not a whole number 0–100`, "range"},
		{"too small", "-1", false, func(c table.Column) { c.Int(0, 100) }, `"-1" is not a whole number 0–100`, "range"},
		{"range with a sign", "6", false, func(c table.Column) { c.Int(-5, 5) }, `"6" is not a whole number from -5 to 5`, "a dash after a minus would puzzle"},
		{"any whole number", "1.5", false, func(c table.Column) { c.Int(math.MinInt, math.MaxInt) }, `"1.5" is not a whole number`, "no range to name"},
		{"overflow", "99999999999999999999", false, func(c table.Column) { c.Int(0, 100) }, `"99999999999999999999" is not a whole number 0–100`, "64 bits"},
		{"underscore", "1_000", false, func(c table.Column) { c.Int(0, 9999) }, `"1_000" is not a whole number 0–9999`, "a programmer's notation"},
		{"exponent", "1e3", false, func(c table.Column) { c.Number() }, `"1e3" is not a decimal number such as 12 or 6.4`, "unit.ParseNumber refuses it"},
		{
			"grouping", "1,234.5", false, func(c table.Column) { c.Number() }, `"1,234.5" is not a decimal number such as 12 or 6.4`,
			"no grouping unless the profile says",
		},
		{"comma", "1,5", false, func(c table.Column) { c.Number() }, `"1,5" is not a decimal number such as 12 or 6.4`, "no comma unless the profile says"},
		{"long number", strings.Repeat("1", 65), false, func(c table.Column) { c.Number() }, `is not a decimal number`, "bounded"},
		{"bool", "maybe", false, func(c table.Column) { c.Bool() }, `"maybe" is not one of yes, no, true, false, 1, 0`, "no guess"},
		{"word", "pas", false, func(c table.Column) { c.Word("pass", "fail") }, `"pas" is not one of pass, fail; did you mean "pass"?`, "near miss"},
		{"far word", "zebra", false, func(c table.Column) { c.Word("pass", "fail") }, `"zebra" is not one of pass, fail`, "nothing near"},
		{"word of the field", "x", false, func(c table.Column) { c.Word() }, `"x" is not one of north, south`, "Field.Allowed"},
		{"required", "", true, func(c table.Column) { c.Text() }, `"" must not be empty`, "required"},
		{"required number", " ", true, func(c table.Column) { c.Number() }, `"" must not be empty`, "spaces are trimmed"},
		{"bell", "a\ab", false, func(c table.Column) { c.Text() }, `"a\ab" holds the control character U+0007`, "escaped in the message"},
		{"line break", "\"a\nb\"", false, func(c table.Column) { c.Text() }, `"a\nb" holds the control character U+000A`, "a break is a control character"},
		{"c1", "a\u0085b", false, func(c table.Column) { c.Text() }, `"a\u0085b" holds the control character U+0085`, "C1 too"},
		{"replacement", "a\ufffdb", false, func(c table.Column) { c.Text() }, `holds a character that could not be decoded`, "lost before it came here"},
		{
			"too long", strings.Repeat("ä", 1001), false, func(c table.Column) { c.Text() },
			`"` + strings.Repeat("ä", 80) + `…" is longer than 1000 characters`, "cut to 80 characters",
		},
		{
			"time", "yesterday", false, func(c table.Column) { c.Time() },
			`"yesterday" is not a time like 2026-11-25T08:30:00+01:00 (with its offset)`, "the form is shown",
		},
		{"own", "S9", false, func(c table.Column) { c.Reject("names no scope", "S1") }, `"S9" names no scope`, "the caller's own check"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := table.Field{Required: tt.required, Allowed: []string{"north", "south"}}
			err := one(t, table.Profile{}, f, tt.cell, tt.read)
			var cell *table.CellError
			if !errors.As(err, &cell) {
				t.Fatalf("got %v (%s)", err, tt.reason)
			}
			if got := err.Error(); !strings.HasPrefix(got, `f.csv:2: column "cell": `) || !strings.Contains(got, tt.want) {
				t.Errorf("got  %s\nwant %s (%s)", got, tt.want, tt.reason)
			}
			if cell.Line != 2 || cell.Column != "cell" || cell.File != "f.csv" {
				t.Errorf("place %+v", cell)
			}
		})
	}
}

func TestCellsThatAreRight(t *testing.T) {
	comma, grouped := table.Profile{Decimal: "comma"}, table.Profile{Grouping: ","}
	number := func(want float64) func(*testing.T, table.Column) {
		return func(t *testing.T, c table.Column) {
			t.Helper()
			if got := c.Number(); float64(got) != want {
				t.Errorf("got %v, want %v", got, want)
			}
		}
	}
	whole := func(want int) func(*testing.T, table.Column) {
		return func(t *testing.T, c table.Column) {
			t.Helper()
			if got := c.Int(math.MinInt, math.MaxInt); got != want {
				t.Errorf("got %v, want %v", got, want)
			}
		}
	}
	text := func(want string) func(*testing.T, table.Column) {
		return func(t *testing.T, c table.Column) {
			t.Helper()
			if got := c.Text(); got != want {
				t.Errorf("got %q, want %q", got, want)
			}
		}
	}
	truth := func(want bool) func(*testing.T, table.Column) {
		return func(t *testing.T, c table.Column) {
			t.Helper()
			if got := c.Bool(); got != want || !c.Has() {
				t.Errorf("got %v, want %v", got, want)
			}
		}
	}
	german := table.Profile{Values: map[string]map[string]string{"cell": {"Ja": "yes", "nein": "no", "k. A.": "", "": "yes"}}}
	tests := []struct {
		name    string
		profile table.Profile
		cell    string
		check   func(*testing.T, table.Column)
		reason  string
	}{
		{"point", table.Profile{}, "-6.25", number(-6.25), "default"},
		{"comma", comma, "1.234,5", number(1234.5), "points group under a decimal comma"},
		{"comma with space", comma, "1 234 567,5", number(1234567.5), "so do spaces"},
		{"comma with no-break space", comma, "1\u00a0234,5", number(1234.5), "of every width"},
		{"comma ungrouped", comma, "1234,5", number(1234.5), "grouping is not needed"},
		{"comma, no whole part", comma, "-,5", number(-0.5), "as .5 is read"},
		{"comma, thousands only", comma, "1.234", number(1234), "documented: a point groups"},
		{"grouped", grouped, "1,234.5", number(1234.5), "as the profile says"},
		{"apostrophe", table.Profile{Grouping: "'"}, "1’234.5", number(1234.5), "typographic too"},
		{"whole, grouped", comma, "9.999.999", whole(9999999), "whole numbers are grouped alike"},
		{"whole, signed", table.Profile{}, "+5", whole(5), "a sign"},
		{"smallest", table.Profile{}, strconv.Itoa(math.MinInt), whole(math.MinInt), "64 bits"},
		{"yes", table.Profile{}, "YES", truth(true), "case does not matter"},
		{"one", table.Profile{}, "1", truth(true), "a digit"},
		{"false", table.Profile{}, "False", truth(false), "as spreadsheets write"},
		{"zero", table.Profile{}, "0", truth(false), "a digit"},
		{"mapped", german, "ja", truth(true), "the profile's map, whatever the case"},
		{"mapped exactly", german, "nein", truth(false), "the profile's map"},
		{"empty mapped", german, "", truth(true), "an empty cell may have a meaning"},
		{"mapped to empty", german, "k. A.", func(t *testing.T, c table.Column) {
			t.Helper()
			if c.Bool() || c.Has() {
				t.Error("not there")
			}
		}, "not stated is not no"},
		{"tab inside", table.Profile{}, "a\tb", text("a\tb"), "the one control character let through"},
		{"apostrophe alone", table.Profile{}, "'", text("'"), "nothing to protect"},
		{"apostrophe before a letter", table.Profile{}, "'s", text("'s"), "not a writer's guard"},
		{"guarded", table.Profile{}, "'=1+1", text("=1+1"), "a writer's guard is taken off"},
		{"guarded apostrophe", table.Profile{}, "''=1", text("'=1"), "one only"},
		{"guarded number", table.Profile{}, "'-5", whole(-5), "for numbers too"},
		{"longest", table.Profile{}, strings.Repeat("ä", 1000), text(strings.Repeat("ä", 1000)), "characters, not bytes"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if err := one(t, tt.profile, table.Field{}, tt.cell, func(c table.Column) { tt.check(t, c) }); err != nil {
				t.Errorf("%v (%s)", err, tt.reason)
			}
		})
	}
}

func TestGroupingInTheWrongPlace(t *testing.T) {
	comma, point := table.Profile{Decimal: "comma"}, table.Profile{Grouping: ","}
	tests := []struct {
		name    string
		profile table.Profile
		cell    string
		reason  string
	}{
		{"one digit after", comma, "1.5", "a decimal point in a comma file"},
		{"two digits after", comma, "1.23", "a decimal point in a comma file"},
		{"four digits before", comma, "1234.567", "either all groups or none"},
		{"group of two", comma, "1.23.456", "three digits a group"},
		{"mixed", comma, "1.234 567", "one character in a number"},
		{"leading", comma, ".123", "something must stand before it"},
		{"doubled", comma, "1..234", "an empty group"},
		{"trailing", comma, "1.234.", "an empty group"},
		{"in the fraction", comma, "1,234.567", "English order in a comma file"},
		{"two commas", comma, "1,2,3", "one decimal comma"},
		{"no fraction", comma, "1,", "digits must follow"},
		{"sign only", comma, "-", "digits are needed"},
		{"point with comma groups", point, "1,23.5", "three digits a group"},
		{"grouping none", table.Profile{Decimal: "comma", Grouping: "none"}, "1.234", "refused when the profile says so"},
		{"space under point", table.Profile{}, "1 234", "no grouping unless the profile says"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got unit.Number
			if err := one(t, tt.profile, table.Field{}, tt.cell, func(c table.Column) { got = c.Number() }); err == nil {
				t.Errorf("%q was read as %v (%s)", tt.cell, got, tt.reason)
			}
		})
	}
}

func TestNumbersReadBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.Int64Range(-1e12, 1e12).Draw(rt, "n")
		part := rapid.StringMatching(`[0-9]{0,4}`).Draw(rt, "part")
		plain := strconv.FormatInt(n, 10)
		sign, digits := "", plain
		if n < 0 {
			sign, digits = "-", plain[1:]
		}
		sep := rapid.SampledFrom([]string{"", ".", " ", "\u202f"}).Draw(rt, "separator")
		var grouped strings.Builder
		for i, d := range digits {
			if i > 0 && (len(digits)-i)%3 == 0 {
				grouped.WriteString(sep)
			}
			grouped.WriteString(string(d))
		}
		cell := sign + grouped.String()
		if part != "" {
			cell += "," + part
			plain += "." + part
		}
		want, err := unit.ParseNumber(plain)
		if err != nil {
			rt.Fatal(err)
		}
		var got unit.Number
		if err := one(t, table.Profile{Decimal: "comma"}, table.Field{}, cell, func(c table.Column) { got = c.Number() }); err != nil || got != want {
			rt.Fatalf("%q: got %v, %v; want %v", cell, got, err, want)
		}
	})
}

func TestErrorsAreCapped(t *testing.T) {
	text := "scope_id,at,rlu\n" + strings.Repeat("S1,2026-11-25T08:30:00Z,x\n", 250)
	for _, limit := range []int{0, 3} {
		file := open(t, text, table.Profile{Limits: table.Limits{MaxErrors: limit}}, readings)
		rlu := file.Field("rlu")
		for file.Next() {
			rlu.Int(0, 10)
		}
		kept := limit
		if limit == 0 {
			kept = table.DefaultMaxErrors
		}
		var all *table.FileError
		if !errors.As(file.Err(), &all) || len(all.List) != kept || all.More != 250-kept {
			t.Fatalf("cap %d: got %v", limit, file.Err())
		}
		if lines := strings.Split(all.Error(), "\n"); lines[0] != `readings.csv:2: column "rlu": "x" is not a whole number 0–10` ||
			lines[len(lines)-1] != fmt.Sprintf("and %d more", 250-kept) {
			t.Errorf("got %q … %q", lines[0], lines[len(lines)-1])
		}
	}
}

func TestRaggedRowsAreReportedAndPassedOver(t *testing.T) {
	file := open(t, "scope_id,at,rlu\nS1,x\nS2,2026-11-25T08:30:00Z,1\nS3,2026-11-25T08:30:00Z,1,2,3\nS4,\"\n",
		table.Profile{Limits: table.Limits{MaxErrors: 2}}, readings)
	rows := 0
	for file.Next() {
		rows++
	}
	want := "readings.csv:2: the row has 2 fields, the header row 3\n" +
		"readings.csv:4: the row has 5 fields, the header row 3\n" +
		"readings.csv:5:4: the quote that opens here is never closed"
	if err := file.Err(); rows != 1 || err == nil || err.Error() != want {
		t.Errorf("%d rows, %v\nwant 1 row, %s", rows, err, want)
	}
}

func TestHeaders(t *testing.T) {
	tests := []struct {
		name, text string
		profile    table.Profile
		want       string
		reason     string
	}{
		{
			"missing", "scope_id;at;rul;x\n",
			table.Profile{},
			`readings.csv:1: column "rlu" is missing (whole number; the value shown); did you mean the file's "rul"?; the file has: scope_id, at, ` +
				`rul, x; known columns: scope_id, at, rlu, result, note`,
			"what is missing, what is there, what is near, what would do",
		},
		{
			"two missing", "rlu\n",
			table.Profile{},
			`readings.csv:1: column "scope_id" is missing (text); column "at" is missing (time); the file has: rlu; known columns: scope_id, at, rlu, result, note`,
			"all at once",
		},
		{
			"mapped but not there", "scope_id,at,rlu\n",
			table.Profile{Columns: map[string]string{"rlu": "Wert"}},
			`column "Wert", which the profile names for rlu, is missing (whole number; the value shown)`,
			"our own name does not count then",
		},
		{
			"optional, mapped, not there", "scope_id,at,rlu\n",
			table.Profile{Columns: map[string]string{"result": "Ergebnis"}},
			`column "Ergebnis", which the profile names for result, is missing (word: pass, fail, retest)`,
			"the profile promises it",
		},
		{"twice", "rlu,scope-id,at, Scope_ID\n", table.Profile{}, `columns 2 and 4 have the same header "Scope_ID"`, "which one counts is anyone's guess"},
		{
			"constant and column", "scope_id,at,rlu,note\n",
			table.Profile{Constant: map[string]string{"note": "n"}},
			`column "note" is in the file, but the profile also gives a constant for it`, "which one counts is anyone's guess",
		},
		{"empty", "\n\n", table.Profile{}, `readings.csv:3: the file has no header row; known columns: scope_id`, "nothing to read"},
		{"only skipped", "a\nb", table.Profile{SkipLines: 5}, `the file has no header row`, "nothing to read"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := table.Open("readings.csv", strings.NewReader(tt.text), tt.profile, readings)
			var header *table.HeaderError
			if !errors.As(err, &header) || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got  %v\nwant %s (%s)", err, tt.want, tt.reason)
			}
		})
	}
}

func TestOpenRefusesWhatTheProfileGetsWrong(t *testing.T) {
	tests := []struct {
		name    string
		profile table.Profile
		text    string
		want    string
	}{
		{
			"unknown field",
			table.Profile{Columns: map[string]string{"rul": "x"}},
			"",
			`profile for readings.csv: columns.rul: there is no such field; the fields are scope_id, at, rlu, result, note; did you mean "rlu"?`,
		},
		{"unknown field of values", table.Profile{Values: map[string]map[string]string{"zzz": {}}}, "", "values.zzz: there is no such field"},
		{"unknown constant", table.Profile{Constant: map[string]string{"zzz": "1"}}, "", "constant.zzz: there is no such field"},
		{"bad delimiter", table.Profile{Delimiter: "x"}, "", `profile for readings.csv: delimiter: "x" is not auto, comma, semicolon, tab or pipe`},
		{"sep line against it", table.Profile{Delimiter: "comma"}, "sep=;\na;b\n", `readings.csv:1: the file's first line names the delimiter ';', the profile ','`},
		{"fault in the header row", table.Profile{}, "a,\"b", `readings.csv:1:3: the quote that opens here is never closed`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := table.Open("readings.csv", strings.NewReader(tt.text), tt.profile, readings)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("got  %v\nwant %s", err, tt.want)
			}
		})
	}
}

func TestProfilesApply(t *testing.T) {
	p := table.Profile{
		SkipLines: 2, Decimal: "comma", Columns: map[string]string{"Scope-ID": "Gerät Nr.", "rlu": "Wert"},
		Constant: map[string]string{"at": "2026-11-25T08:30:00Z", "result": "Fail"},
		Values:   map[string]map[string]string{"scope id": {"G1": "S1"}},
	}
	file := open(t, "Export; \"never closed\r\nvom; 1.1.\r\n\r\nGerät_Nr.;Wert\r\nG1;1.200\r\ng1;x\r\n", p, readings)
	var got []string
	for file.Next() {
		got = append(got, fmt.Sprintf("%d %s %v %d %s %v", file.Line(), file.Field("scope_id").Text(), file.Field("at").Time(),
			file.Field("rlu").Int(0, 9999), file.Field("result").Word(), file.Field("note").Has()))
	}
	want := []string{"5 S1 2026-11-25T08:30:00Z 1200 fail false", "6 S1 2026-11-25T08:30:00Z 0 fail false"}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if err := file.Err(); err == nil || err.Error() != `readings.csv:6: column "Wert": "x" is not a whole number 0–9999` {
		t.Errorf("the header as in the file: got %v", err)
	}
	p.Constant["at"] = "nonsense"
	file = open(t, "a\nb\nGerät Nr.;Wert\nG1;1\n", p, readings)
	for file.Next() {
		file.Field("at").Time()
	}
	if err := file.Err(); err == nil || !strings.HasPrefix(err.Error(), `readings.csv:4: column "at (constant in the profile)": "nonsense" is not a time`) {
		t.Errorf("a bad constant: got %v", err)
	}
}

func TestLongListsAreCut(t *testing.T) {
	headers := make([]string, 40)
	for i := range headers {
		headers[i] = fmt.Sprint("column", i)
	}
	headers[0] = strings.Repeat("scope_id", 100)
	_, err := table.Open("f.csv", strings.NewReader(strings.Join(headers, ",")), table.Profile{}, readings)
	if err == nil || !strings.Contains(err.Error(), "column29 and 10 more;") || strings.Contains(err.Error(), "column30") || len(err.Error()) > 1500 {
		t.Errorf("got %v", err)
	}
	err = one(t, table.Profile{}, table.Field{}, strings.Repeat("p", 200), func(c table.Column) { c.Word("pass", strings.Repeat("p", 199)) })
	if err == nil || strings.Contains(err.Error(), "did you mean") {
		t.Errorf("near misses are not looked for in long texts: %v", err)
	}
	err = one(t, table.Profile{}, table.Field{}, "past", func(c table.Column) { c.Word(strings.Repeat("p", 199), "pass") })
	if err == nil || !strings.HasSuffix(err.Error(), `did you mean "pass"?`) {
		t.Errorf("long words are passed over: %v", err)
	}
}

func TestFieldsByName(t *testing.T) {
	file := open(t, "scope_id,at,rlu,result,note\nS1,,1.5,Pass,yes\n", table.Profile{}, []table.Field{
		{Name: "scope_id"}, {Name: "at"}, {Name: "rlu"}, {Name: "result", Allowed: []string{"pass"}}, {Name: "note"},
	})
	if file.Field("rlu").Number() != 0 || file.Field("rlu").Int(0, 9) != 0 || file.Field("note").Bool() || file.Err() != nil {
		t.Error("before the first row all is zero and nothing is wrong")
	}
	if !file.Next() || file.Field("rlu").Number() != 1.5 || !file.Field("note").Bool() || file.Field("result").Word() != "pass" ||
		file.Field("at").Time() != 0 || file.Field("at").Has() {
		t.Error("a field reads another cell than it should")
	}
	if file.Next() || file.Err() != nil {
		t.Error(file.Err())
	}
	file = open(t, "scope_id,at,rlu\nS9,x,1\n", table.Profile{}, readings)
	file.Next()
	file.Field("Scope ID").Reject("names no scope", "S1", "S2")
	var cell *table.CellError
	if !errors.As(file.Err(), &cell) || cell.Error() != `readings.csv:2: column "scope_id": "S9" names no scope` {
		t.Fatalf("got %v", file.Err())
	}
	if d := cmp.Diff([]string{"S1", "S2"}, cell.Allowed); d != "" {
		t.Error(d)
	}
}

func TestDelimiterIsFound(t *testing.T) {
	tests := []struct {
		name, text string
		want       byte
		reason     string
	}{
		{"comma", "a,b\n1,2\n", ',', "plain"},
		{"semicolon", "a;b\n1;2\n", ';', "plain"},
		{"tab", "a\tb\n1\t2\n", '\t', "plain"},
		{"pipe", "a|b\n1|2\n", '|', "plain"},
		{"decimal commas", "a;b;c\n1,5;2,5;3,5\n", ';', "the header has no comma"},
		{"comma in a header", "a;b, total;c\n1,5;2;3\n1,5;2;3\n", ';', "both steady, the more frequent wins"},
		{"many commas in a header", "a;b (x, y, z)\n1;2\n", ';', "not steady"},
		{"quoted commas", "a;b\n\"1,,,,,\";2\n", ';', "inside quotes nothing counts"},
		{"quoted breaks", "a;b\n\"1\n;;\n\"\"\";2\n", ';', "nor do breaks"},
		{"one column", "a\n1\n", ',', "none is there"},
		{"header only", "a;b", ';', "no break, no data"},
		{"ragged", "a;b;c\n1;2\n", ';', "the best there is"},
		{"sep line", "sep=|\na;x|b;x\n1;1\n", '|', "the file says so"},
		{"sep line, lone cr", "SEP=\t\ra,b\r", '\t', "the file says so"},
		{"sep line only", "sep=;", ';', "no header then"},
		{"not a sep line", "sep=x;b\n1;2\n", ';', "a header that looks like it"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			file, err := table.Open("f.csv", strings.NewReader(tt.text), table.Profile{}, nil)
			if tt.name == "sep line only" {
				if err == nil {
					t.Error("there is no header row")
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if file.Delimiter() != tt.want {
				t.Errorf("got %q, want %q (%s)", file.Delimiter(), tt.want, tt.reason)
			}
		})
	}
}

func TestFieldNamesAreTheProgrammersBusiness(t *testing.T) {
	for name, do := range map[string]func(){
		"unknown": func() { open(t, "a\n", table.Profile{}, []table.Field{{Name: "a"}}).Field("b") },
		"twice":   func() { open(t, "a\n", table.Profile{}, []table.Field{{Name: "a"}, {Name: "A"}}) },
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				if recover() == nil {
					t.Error("no panic")
				}
			}()
			do()
		})
	}
}

func TestReadingCellsAllocatesNothing(t *testing.T) {
	text := "scope_id,at,rlu,result\n" + strings.Repeat("S1,2026-11-25T08:30:00Z,12,pass\n", 5000)
	file := open(t, text, table.Profile{}, readings)
	at, rlu, result := file.Field("at"), file.Field("rlu"), file.Field("result")
	got := testing.AllocsPerRun(4000, func() {
		if !file.Next() || at.Time() == 0 || rlu.Int(0, 99) != 12 || result.Word() != "pass" {
			t.Fatal(file.Err())
		}
	})
	if got != 0 {
		t.Errorf("%v allocations a row", got)
	}
}

func TestKindsHaveNames(t *testing.T) {
	seen := map[string]bool{}
	for k := table.KindText; k <= table.KindTime; k++ {
		name := k.String()
		if seen[name] || strings.HasPrefix(name, "kind") {
			t.Errorf("kind %d is called %q", k, name)
		}
		seen[name] = true
	}
	if got := table.Kind(99).String(); got != "kind 99" {
		t.Errorf("got %q", got)
	}
}
