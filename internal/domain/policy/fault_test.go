package policy_test

import (
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"rinsate/internal/domain/policy"
)

type fataler interface {
	Helper()
	Fatal(args ...any)
}

func read(t fataler, text []byte, into any) {
	t.Helper()
	if err := yaml.Unmarshal(text, into); err != nil {
		t.Fatal(err)
	}
}

// lineWith is the line of a text that holds something, counted from 1.
func lineWith(t *testing.T, text []byte, part string) int {
	t.Helper()
	for i, l := range strings.Split(string(text), "\n") {
		if strings.Contains(l, part) {
			return i + 1
		}
	}
	t.Fatalf("%q is not in the text", part)
	return 0
}

// What is wrong is told with the line where it is, in words without names of the code.
func TestFaults(t *testing.T) {
	t.Parallel()
	if f := policy.Faults(policy.Preset()); len(f) != 0 {
		t.Fatalf("the preset: %+v", f)
	}
	tests := []struct {
		name, from, to string
		at             string // a part of the line
		want           string
	}{
		{"unknown key", "    shake: 5s", "    shaek: 5s", "shaek", `the key "shaek" is not known here`},
		{"a word for a number", "cleanings: 3 ", "cleanings: three ", "cleanings: three", `"three" is not a whole number`},
		{"a word for yes or no", "duplicate_near_level: true", "duplicate_near_level: maybe", "maybe", `"maybe" is not yes or no`},
		{"not YAML", "  unstored: 3h", "  unstored: [3h", "unstored: [3h", "did not find expected"},
		{"a key twice", "edition: \"2026-1\"", "edition: \"2026-1\"\nedition: \"2026-2\"", `edition: "2026-2"`, `the key "edition" stands in line 6 already`},
		{"a time without a unit", "    shake: 5s", "    shake: 5", "shake: 5", `"5" is not a length of time`},
		{
			"a step without a citation", "{step: transport, required: false, citation: common practice,",
			"{step: transport, required: false,", "step: transport", "transport: the citation is missing",
		},
		{"a clock without a citation", "within: 4h, citation: common practice,", "within: 4h,", "activate the surface sample", "the citation is missing"},
		{
			"a due rule without a citation", "{when: on-arrival, blocks: yes, citation: common practice,",
			"{when: on-arrival, blocks: yes,", "when: on-arrival", "the citation is missing",
		},
		{"an unknown step", "{step: final-rinse, required: false", "{step: polishing, required: false", "step: polishing", `"polishing" is not known`},
		{"a disinfectant without contact", "{name: opa-0.55, contact: 12min,", "{name: opa-0.55, contact: 0s,", "name: opa-0.55,", "give a name and a contact time"},
		{
			"outside a cabinet without a citation",
			"  unstored_source: {citation: \"3 h unless stored in a validated way (BSG/HTM 01-06 as listed by AORN)\", verified: no}\n",
			"", "unstored: 3h", "the citation is missing",
		},
		{"too few cleanings", "cleanings: 3 ", "cleanings: 0 ", "reading:", "cleanings must be 1 or more"},
		{"a recovery over 1", "recovery: 0.65", "recovery: 65", "reading:", "recovery 65"},
		{"no required control known", "required: [positive, blank]", "required: [good]", "required: [good]", `kind of control "good"`},
		{
			"a draw of nothing", "per_kind: 1\n    per_process: 2\n    every_days: 365\n    size: 6",
			"per_kind: 0\n    per_process: 0\n    every_days: 0\n    size: 0", "selection:", "one of them over 0",
		},
		{"no name", "name: General rule set\n", "", "", "name and edition must be given"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			text := edit(t, tt.from, tt.to)
			got := policy.Faults(text)
			if len(got) == 0 {
				t.Fatal("nothing is wrong")
			}
			want := 0
			if tt.at != "" {
				want = lineWith(t, text, tt.at)
			}
			f := got[0]
			// The parser tells where it noticed that a bracket is not closed: on the line or beside it.
			near := tt.name == "not YAML" && f.Line >= want-1 && f.Line <= want+1
			if !strings.Contains(f.Message, tt.want) || f.Line != want && !near && tt.at != "" {
				t.Errorf("got %+v, want line %d: %s", got, want, tt.want)
			}
			if strings.Contains(f.Message, "unmarshal") || strings.Contains(f.Message, "sampling.") {
				t.Errorf("a message of the code: %s", f.Message)
			}
		})
	}
	t.Run("several at once", func(t *testing.T) {
		t.Parallel()
		text := strings.Replace(string(edit(t, "cleanings: 3 ", "cleanings: 0 ")), "{step: drying, required: true, at_least: 10min",
			"{step: drying, required: true, at_least: -10min", 1)
		if got := policy.Faults([]byte(text)); len(got) < 1 {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("empty", func(t *testing.T) {
		t.Parallel()
		if got := policy.Faults(nil); len(got) != 1 || !strings.Contains(got[0].Message, "empty") {
			t.Errorf("got %+v", got)
		}
	})
}

func FuzzFaults(f *testing.F) {
	f.Add(string(policy.Preset()))
	f.Add("- 1")
	f.Add("name: [\n")
	f.Fuzz(func(t *testing.T, text string) {
		_, err := policy.Parse("", []byte(text))
		faults := policy.Faults([]byte(text))
		if (err == nil) != (len(faults) == 0) {
			t.Fatalf("%v, and faults %+v", err, faults)
		}
		lines := 2 // and one that the parser looks for behind the last
		for _, c := range text {
			if strings.ContainsRune("\r\n\u0085\u2028\u2029", c) {
				lines++
			}
		}
		for _, x := range faults {
			if x.Line < 0 || x.Line > lines || x.Message == "" {
				t.Fatalf("%+v of %d lines", x, lines)
			}
		}
	})
}
