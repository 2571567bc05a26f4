package stats_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

func TestParseProbability(t *testing.T) {
	tests := []struct {
		text, want, reason string
	}{
		{"0.95", "0.95", "plain"},
		{"0.9500", "0.95", "trailing zeros say nothing, so equal values compare equal"},
		{"0", "0", "never"},
		{"0.000", "0", "never, at length"},
		{"1", "1", "always"},
		{"1.0", "1", "always, at length"},
		{"0.3333333333333333333333333333333333333333", "0.3333333333333333333333333333333333333333", "forty places are kept"},
	}
	for _, test := range tests {
		t.Run(test.text, func(t *testing.T) {
			p, err := stats.ParseProbability(test.text)
			if err != nil || p.String() != test.want {
				t.Errorf("got %q, %v; want %q (%s)", p, err, test.want, test.reason)
			}
		})
	}
}

func TestParseProbabilityRefuses(t *testing.T) {
	tests := []struct {
		text, reason string
	}{
		{"", "nothing given"},
		{"NaN", "not a number"},
		{"Inf", "not finite"},
		{"-0.1", "below 0"},
		{"+0.1", "a sign"},
		{"1.01", "above 1"},
		{"2", "above 1"},
		{"95", "percent without saying so"},
		{"95%", "percent"},
		{".5", "no digit before the point"},
		{"0.", "no digit after the point"},
		{"0.1.2", "two points"},
		{"0,95", "a comma"},
		{"1e-3", "an exponent"},
		{" 0.5", "a space"},
		{"00.5", "two digits before the point"},
		{"0.00000000000000000000000000000000000000001", "41 places"},
		{"0.९५", "digits that are not ASCII"},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			if p, err := stats.ParseProbability(test.text); !errors.Is(err, stats.ErrArgument) || p.Known() {
				t.Errorf("ParseProbability(%q) = %q, %v; want ErrArgument", test.text, p, err)
			}
			if c, err := stats.ParseConfidence(test.text); !errors.Is(err, stats.ErrArgument) || c.Known() {
				t.Errorf("ParseConfidence(%q) = %q, %v; want ErrArgument", test.text, c, err)
			}
		})
	}
}

func TestConfidenceIsStrictlyBetween(t *testing.T) {
	for _, text := range []string{"0", "0.0", "1", "1.00"} {
		if c, err := stats.ParseConfidence(text); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("ParseConfidence(%q) = %q, %v; want ErrArgument", text, c, err)
		}
	}
}

func TestFloatsAreReadAsTheirShortestDecimal(t *testing.T) {
	c, err := stats.ConfidenceOf(0.9)
	if err != nil {
		t.Fatal(err)
	}
	if want := big.NewRat(9, 10); c.Rat().Cmp(want) != 0 {
		t.Errorf("ConfidenceOf(0.9) is %s, want 9/10", c.Rat())
	}
	for _, f := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -0.1, 1.5, 1e-300, math.Copysign(0, -1)} {
		if c, err := stats.ConfidenceOf(f); !errors.Is(err, stats.ErrArgument) {
			t.Errorf("ConfidenceOf(%g) = %q, %v; want ErrArgument", f, c, err)
		}
	}
}

func TestProbabilityTextRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := float64(rapid.IntRange(1, 1_000_000-1).Draw(t, "millionths")) / 1e6
		type pair struct {
			P stats.Probability
			C stats.Confidence
		}
		p, err := probabilityOf(f)
		if err != nil {
			t.Fatal(err)
		}
		c, err := stats.ConfidenceOf(f)
		if err != nil {
			t.Fatal(err)
		}
		if p.Float() != f || c.Float() != f {
			t.Fatalf("%v came back as %v and %v", f, p.Float(), c.Float())
		}
		text, err := json.Marshal(pair{P: p, C: c})
		if err != nil {
			t.Fatal(err)
		}
		var back pair
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatal(err)
		}
		if back != (pair{P: p, C: c}) {
			t.Fatalf("%s came back as %v", text, back)
		}
	})
}

func TestUnmarshalRefusesBadText(t *testing.T) {
	p, c := stats.MustProbability("0.5"), stats.MustConfidence("0.95")
	if err := p.UnmarshalText([]byte("1.5")); !errors.Is(err, stats.ErrArgument) || p.String() != "0.5" {
		t.Errorf("got %v and %q; want ErrArgument and the old value", err, p)
	}
	if err := c.UnmarshalText([]byte("1")); !errors.Is(err, stats.ErrArgument) || c.String() != "0.95" {
		t.Errorf("got %v and %q; want ErrArgument and the old value", err, c)
	}
	if err := p.UnmarshalText(nil); err != nil || p.Known() {
		t.Errorf("got %v and %q; want the zero value", err, p)
	}
	if err := c.UnmarshalText(nil); err != nil || c.Known() {
		t.Errorf("got %v and %q; want the zero value", err, c)
	}
}

func TestMustPanicsOnBadLiterals(t *testing.T) {
	panics := func(f func()) (caught bool) {
		defer func() { caught = recover() != nil }()
		f()
		return false
	}
	if !panics(func() { stats.MustProbability("1.5") }) {
		t.Error("MustProbability accepted 1.5")
	}
	if !panics(func() { stats.MustConfidence("1") }) {
		t.Error("MustConfidence accepted 1")
	}
}

func TestRatIsACopy(t *testing.T) {
	p := stats.MustProbability("0.5")
	p.Rat().SetInt64(7)
	if p.Float() != 0.5 {
		t.Errorf("changing the returned number changed the probability to %v", p.Float())
	}
	if r := (stats.Probability{}).Rat(); r.Sign() != 0 {
		t.Errorf("a probability not given has the value %s, want 0", r)
	}
}

func ExampleParseConfidence() {
	_, err := stats.ParseConfidence("95%")
	fmt.Println(err)
	// Output:
	// confidence: probability "95%" is not a plain decimal from 0 to 1 with at most 40 places: outside the stated conditions
}

// Whatever is accepted is a number from 0 to 1 that prints as a text that reads back the same.
func FuzzParseProbability(f *testing.F) {
	for _, seed := range []string{"0", "1", "0.95", "0.9500", "1.0", "1.01", "-0", "NaN", "1e-3", "0.", ".5", "", "0.९", "0.1\x00"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, err := stats.ParseProbability(text)
		if err != nil {
			if p.Known() || !errors.Is(err, stats.ErrArgument) {
				t.Fatalf("%q: %q with error %v", text, p, err)
			}
			return
		}
		want, ok := new(big.Rat).SetString(text)
		if !ok || p.Rat().Cmp(want) != 0 || want.Sign() < 0 || want.Cmp(big.NewRat(1, 1)) > 0 {
			t.Fatalf("%q was read as %s", text, p.Rat())
		}
		if again, err := stats.ParseProbability(p.String()); err != nil || again != p {
			t.Fatalf("%q prints as %q, which reads as %q, %v", text, p, again, err)
		}
	})
}
