package policy_test

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/scope"
)

// edit returns the preset's text with one place changed; the old text must occur once.
func edit(tb testing.TB, from, to string) []byte {
	tb.Helper()
	text := string(policy.Preset())
	if n := strings.Count(text, from); n != 1 {
		tb.Fatalf("%q occurs %d times in the preset", from, n)
	}
	return []byte(strings.Replace(text, from, to, 1))
}

// cut returns the preset's text without the lines from the one that holds first up to, and without,
// the one that holds next.
func cut(tb testing.TB, first, next string) []byte {
	tb.Helper()
	text := string(policy.Preset())
	i := strings.Index(text, first)
	if i < 0 {
		tb.Fatalf("%q is not in the preset", first)
	}
	i = strings.LastIndex(text[:i], "\n") + 1
	j := strings.Index(text[i:], next)
	if j < 0 {
		tb.Fatalf("%q does not follow %q", next, first)
	}
	j = strings.LastIndex(text[:i+j], "\n") + 1
	return []byte(text[:i] + text[j:])
}

func TestParse(t *testing.T) {
	r := preset(t)
	if got, want := r.Cite(), "General rule set, edition 2026-1"; got != want {
		t.Errorf("cited as %q, want %q", got, want)
	}
	sum := sha256.Sum256(policy.Preset())
	if want := hex.EncodeToString(sum[:]); r.Digest != want {
		t.Errorf("digest %s, want %s", r.Digest, want)
	}
	if err := r.Check(); err != nil {
		t.Error(err)
	}
	again, err := policy.Parse("other name", policy.Preset())
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(r, again); diff != "" {
		t.Errorf("read twice, different:\n%s", diff)
	}
}

func TestParseRefuses(t *testing.T) {
	const wire = "- points: [elevator-wire-channel]"
	tests := []struct {
		name, reason string
		text         []byte
		want         []string // parts of the error; the file's name is always wanted
	}{
		{"empty", "nothing is guessed", nil, []string{"the rule set is empty"}},
		{"only a comment", "nothing is guessed", []byte("# later\n"), []string{"the rule set is empty"}},
		{"not YAML", "with the line", []byte("name: [\n"), []string{"yaml: line"}},
		{"a list", "of the wrong shape", []byte("- 1\n"), []string{"line 1", "cannot unmarshal"}},
		{"too large", "it has to fit into one record", append(policy.Preset(), strings.Repeat("#\n", policy.MaxSize)...), []string{"bytes; at most 49152 are read"}},
		{"a second document", "one rule set a file", append(policy.Preset(), "\n---\nname: other\n"...), []string{"a second document follows"}},
		{"a broken second document", "one rule set a file", append(policy.Preset(), "\n---\nname: [\n"...), []string{"a second document follows"}},
		{"unknown key", "a slip must not be ignored", edit(t, "    shake: 5s", "    shaek: 5s"), []string{"line 11", "field shaek not found"}},
		{
			"unknown key in a rule", "a slip must not be ignored",
			edit(t, "{when: on-arrival, blocks: yes", "{when: on-arrival, block: yes"),
			[]string{"line ", "field block not found"},
		},
		{"a key twice", "which of the two?", edit(t, "edition: \"2026-1\"", "edition: \"2026-1\"\nedition: \"2026-2\""), []string{"line 7", "already defined"}},
		{"a word for a number", "of the wrong type", edit(t, "cleanings: 3 ", "cleanings: three "), []string{"line ", "cannot unmarshal !!str `three` into int"}},
		{"a word for yes or no", "of the wrong type", edit(t, "duplicate_near_level: true", "duplicate_near_level: maybe"), []string{"line ", "into bool"}},
		{"a time without a unit", "five of what?", edit(t, "    shake: 5s", "    shake: 5"), []string{`"5" is not a length of time`}},
		{"a volume with a unit", "the key names the unit", edit(t, "volume_ml: 40, invalid", "volume_ml: 40mL, invalid"), []string{`"40mL" is not a decimal number`}},
		{"no name", "nobody could cite it", edit(t, "name: General rule set\n", ""), []string{"name and edition must be given"}},
		{"no edition", "nobody could tell two of them apart", edit(t, "edition: \"2026-1\"\n", ""), []string{"name and edition must be given"}},
		{
			"no citation of a clock", "every rule says where it comes from",
			edit(t, "within: 4h, citation: common practice,", "within: 4h,"),
			[]string{`clock "activate the surface sample": the citation is missing`},
		},
		{
			"no citation of a due rule", "every rule says where it comes from",
			edit(t, "{when: on-arrival, blocks: yes, citation: common practice,", "{when: on-arrival, blocks: yes,"),
			[]string{"due rule on-arrival: the citation is missing"},
		},
		{
			"no citation of a step", "every rule says where it comes from",
			edit(t, "{step: transport, required: false, citation: common practice,", "{step: transport, required: false,"),
			[]string{"transport: the citation is missing"},
		},
		{
			"no citation outside a cabinet", "every rule says where it comes from",
			edit(t, "  unstored_source: {citation: \"3 h unless stored in a validated way (BSG/HTM 01-06 as listed by AORN)\", verified: no}\n", ""),
			[]string{"unstored: the citation is missing"},
		},
		{"no protocol for a point", "somebody has to sample it", cut(t, wire, "- points: [air-channel"), []string{"point elevator-wire-channel has no protocol"}},
		{
			"two protocols for a point", "which of the two?", edit(t, wire, "- points: [elevator-wire-channel, air-channel]"),
			[]string{"point air-channel has two protocols"},
		},
		{"no clocks", "a sample would never be too old", cut(t, "    limits:", "  protocols:"), []string{"no clock limits the life of a sample"}},
		{"nothing is due", "no scope would ever be sampled", cut(t, "  due:", "  selection:"), []string{"no rule makes any cleaning verification due"}},
		{"nothing is drawn", "nothing is guessed", cut(t, "  selection:", "reading:"), []string{"selection: per_kind, per_process, every_days and size"}},
		{"no rules for cleaning verifications", "nothing is guessed", cut(t, "reading:", "reprocessing:"), []string{"reading: cleanings must be 1 or more"}},
		{"no steps", "nothing is guessed", cut(t, "reprocessing:", "  unstored: 3h"), []string{"line "}},
		{
			"no disinfection", "the release check would open without it", cut(t, "{step: disinfection", "{step: final-rinse"),
			[]string{"disinfection must be there and required"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := policy.Parse("rules/site.yaml", tt.text)
			if err == nil {
				t.Fatalf("%s: accepted", tt.reason)
			}
			for _, part := range append(tt.want, "rules/site.yaml: ") {
				if !strings.Contains(err.Error(), part) {
					t.Errorf("%s: got %q, want %q in it", tt.reason, err, part)
				}
			}
		})
	}
	t.Run("all faults at once", func(t *testing.T) {
		err := policy.RuleSet{}.Check()
		for _, part := range []string{
			"name and edition", "point outer-distal-end has no protocol", "point balloon-channel has no protocol",
			"no rule makes any cleaning verification due", "selection:", "reading:", "steps: there are none",
		} {
			if err == nil || !strings.Contains(err.Error(), part) {
				t.Errorf("got %v, want %q in it", err, part)
			}
		}
	})
}

// A model's own protocol comes before the general one, and leaves the others as they are.
func TestProtocolsForModel(t *testing.T) {
	own := `  models:
    duodenoscope A:
      - points: [elevator-wire-channel]
        method: rinsate
        at_hand: [2 mL syringe]
        citation: manufacturer's instructions
        verified: yes
        acts:
          - {do: Push 2 mL of sterile water, medium: sterile-water, volume_ml: 2}

  due:
`
	r, err := policy.Parse("site.yaml", edit(t, "  due:\n", own))
	if err != nil {
		t.Fatal(err)
	}
	if got := r.Sample.ProtocolsFor("duodenoscope A"); len(got) != 6 || got[0].Flush() != 2 {
		t.Errorf("%d protocols, the first flushes %s mL", len(got), got[0].Flush())
	}
	if got := r.Sample.ProtocolsFor("duodenoscope B"); len(got) != 5 || got[0].Points[0] != scope.OuterDistalEnd {
		t.Errorf("%d protocols, the first for %v", len(got), got[0].Points)
	}
	_, err = policy.Parse("site.yaml", edit(t, "  due:\n", strings.Replace(own, "method: rinsate", "method: surface", 1)))
	if err == nil || !strings.Contains(err.Error(), "model duodenoscope A: protocol for elevator-wire-channel: method") {
		t.Errorf("a wrong protocol of a model: %v", err)
	}
}

// FuzzParse: no text makes the parser panic, and what it accepts passes Check, is the same when it is
// read again, and carries the digest of its text.
func FuzzParse(f *testing.F) {
	f.Add(policy.Preset())
	f.Add([]byte("name: a\nedition: b\n"))
	f.Add(edit(f, "within: 4h, citation: common practice,", "within: 9999999999d, citation: common practice,"))
	f.Add(edit(f, "contact: 8min", "contact: -1s"))
	f.Add(edit(f, "volume_ml: 40, invalid", "volume_ml: NaN, invalid"))
	f.Add([]byte("&a [*a, *a]"))
	f.Add([]byte("? {a: b}\n: c\n"))
	f.Add([]byte("name: !!binary gA==\n"))
	f.Add([]byte("sampling: {clocks: {limits: [null, {within: null}]}}\nturnaround: {models: {\"\": [{}]}}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := policy.Parse("fuzz.yaml", text)
		if err != nil {
			if !strings.HasPrefix(err.Error(), "fuzz.yaml: ") {
				t.Fatalf("the error does not name the file: %v", err)
			}
			return
		}
		if err := r.Check(); err != nil {
			t.Fatalf("accepted and refused: %v", err)
		}
		again, err := policy.Parse("fuzz.yaml", text)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(r, again); diff != "" {
			t.Fatalf("read twice, different:\n%s", diff)
		}
		if sum := sha256.Sum256(text); r.Digest != hex.EncodeToString(sum[:]) {
			t.Fatalf("digest %s", r.Digest)
		}
	})
}
