package stats

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
)

// maxDigits bounds the decimal places of a probability. It keeps rational arithmetic cheap and is
// far beyond what anyone measures.
const maxDigits = 40

// Probability is an exact decimal from 0 to 1, such as a prevalence, a sensitivity or a fraction
// of good units. The zero value means "not given" and is refused by every function. Equal
// probabilities compare equal with ==, however they were written.
type Probability struct {
	text string
}

// ParseProbability reads plain decimal text: digits, at most one point, no sign, exponent or
// percent sign, at most 40 decimal places ("0.95", "1", "0.999"). It returns [ErrArgument] for
// anything else, "NaN" and the empty text included.
func ParseProbability(s string) (Probability, error) {
	whole, places, point := strings.Cut(s, ".")
	isDigits := func(t string) bool { return t != "" && strings.Trim(t, "0123456789") == "" }
	if !isDigits(whole) || (point && !isDigits(places)) || len(whole) > 1 || len(places) > maxDigits {
		return Probability{}, fmt.Errorf("probability %.60q is not a plain decimal from 0 to 1 with at most %d places: %w",
			s, maxDigits, ErrArgument)
	}
	places = strings.TrimRight(places, "0")
	if whole > "1" || (whole == "1" && places != "") {
		return Probability{}, fmt.Errorf("probability %s is above 1: %w", s, ErrArgument)
	}
	if places == "" {
		return Probability{text: whole}, nil
	}
	return Probability{text: whole + "." + places}, nil
}

// MustProbability is [ParseProbability] for literals in code. It panics if s is not a probability.
func MustProbability(s string) Probability {
	p, err := ParseProbability(s)
	if err != nil {
		panic(err)
	}
	return p
}

// Known says whether the probability was given at all.
func (p Probability) Known() bool { return p.text != "" }

// String returns the shortest decimal text, or "" if the probability was not given.
func (p Probability) String() string { return p.text }

// Rat returns the exact value in a new number; 0 if the probability was not given.
func (p Probability) Rat() *big.Rat {
	r := new(big.Rat)
	if p.Known() {
		r.SetString(p.text) // cannot fail: the text was checked when p was made
	}
	return r
}

// Float returns the nearest float64; 0 if the probability was not given.
func (p Probability) Float() float64 { return toFloat(p.Rat()) }

// MarshalText implements [encoding.TextMarshaler] with the text of [Probability.String].
func (p Probability) MarshalText() ([]byte, error) { return []byte(p.text), nil }

// UnmarshalText implements [encoding.TextUnmarshaler]; empty text gives the zero value.
func (p *Probability) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*p = Probability{}
		return nil
	}
	q, err := ParseProbability(string(text))
	if err != nil {
		return err
	}
	*p = q
	return nil
}

// complement returns 1 − p exactly.
func (p Probability) complement() *big.Rat { return new(big.Rat).Sub(big.NewRat(1, 1), p.Rat()) }

// Confidence is an exact decimal strictly between 0 and 1: the assurance of an interval or of a
// sample size. It is a type of its own so that it cannot be passed where a [Probability] is meant.
// The zero value means "not given" and is refused by every function.
type Confidence struct {
	p Probability
}

// ParseConfidence reads plain decimal text as [ParseProbability] does. It returns [ErrArgument]
// for 0, 1 and anything that is not a probability.
func ParseConfidence(s string) (Confidence, error) {
	p, err := ParseProbability(s)
	if err != nil {
		return Confidence{}, fmt.Errorf("confidence: %w", err)
	}
	if p.text == "0" || p.text == "1" {
		return Confidence{}, fmt.Errorf("confidence %s is not strictly between 0 and 1: %w", s, ErrArgument)
	}
	return Confidence{p: p}, nil
}

// ConfidenceOf takes the shortest decimal that reads back as f, so that ConfidenceOf(0.9) is exactly nine tenths.
// It returns [ErrArgument] for NaN, infinities, 0, 1 and values outside, and for a value that needs
// more than 40 decimal places.
func ConfidenceOf(f float64) (Confidence, error) {
	return ParseConfidence(strconv.FormatFloat(f, 'f', -1, 64))
}

// MustConfidence is [ParseConfidence] for literals in code. It panics if s is not a confidence.
func MustConfidence(s string) Confidence {
	c, err := ParseConfidence(s)
	if err != nil {
		panic(err)
	}
	return c
}

// Known says whether the confidence was given at all.
func (c Confidence) Known() bool { return c.p.Known() }

// String returns the shortest decimal text, or "" if the confidence was not given.
func (c Confidence) String() string { return c.p.String() }

// Rat returns the exact value in a new number; 0 if the confidence was not given.
func (c Confidence) Rat() *big.Rat { return c.p.Rat() }

// Float returns the nearest float64; 0 if the confidence was not given.
func (c Confidence) Float() float64 { return c.p.Float() }

// MarshalText implements [encoding.TextMarshaler] with the text of [Confidence.String].
func (c Confidence) MarshalText() ([]byte, error) { return c.p.MarshalText() }

// UnmarshalText implements [encoding.TextUnmarshaler]; empty text gives the zero value.
func (c *Confidence) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*c = Confidence{}
		return nil
	}
	d, err := ParseConfidence(string(text))
	if err != nil {
		return err
	}
	*c = d
	return nil
}

// risk returns 1 − c exactly.
func (c Confidence) risk() *big.Rat { return c.p.complement() }

// tail returns (1 − c)/2, rounded once, so that 0.95 gives 0.025 and not 0.025000000000000022.
func (c Confidence) tail() float64 {
	r := c.risk()
	return toFloat(r.Quo(r, big.NewRat(2, 1)))
}

func toFloat(r *big.Rat) float64 {
	f, _ := r.Float64()
	return f
}

// Complement returns 1 − p, exactly.
func (p Probability) Complement() Probability {
	if !p.Known() {
		return p
	}
	rest := new(big.Rat).Sub(big.NewRat(1, 1), p.Rat())
	// The complement of a decimal has as many places as the decimal.
	_, fraction, _ := strings.Cut(p.String(), ".")
	return MustProbability(rest.FloatString(len(fraction)))
}
