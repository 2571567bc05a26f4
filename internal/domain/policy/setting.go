package policy

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/unit"
)

// Kind is what a setting holds.
type Kind string

// The kinds of settings.
const (
	Whole    Kind = "whole"    // a whole number from 0 up
	Decimal  Kind = "decimal"  // a decimal number
	Duration Kind = "duration" // a length of time such as 45min
	YesNo    Kind = "yes-no"
	Choice   Kind = "choice" // one of the allowed words
	Phrase   Kind = "phrase" // a text on one line
	Calendar Kind = "day"    // a day such as 2026-03-31
)

// Setting is one value of a rule that people change without touching the rest of the text.
type Setting struct {
	// Path leads to the value in the text; see Amendment.
	Path []string
	Kind Kind
	// Value is the value now, as it is typed; empty when the rule does not say.
	Value string
	// Allowed are the words of a choice; Optional settings may be empty.
	Allowed  []string
	Optional bool
	// Unit stands behind the value, such as "days".
	Unit string
}

// Key is the name of the setting in its rule.
func (s Setting) Key() string { return s.Path[len(s.Path)-1] }

// Name tells the setting from every other one of the rule set.
func (s Setting) Name() string { return strings.Join(s.Path, " / ") }

// Amend returns the amendment that gives the setting a value as somebody typed it. An empty value takes
// an optional setting out of force.
func (s Setting) Amend(typed string) (Amendment, error) {
	typed = strings.TrimSpace(typed)
	a := Amendment{Path: s.Path, Value: typed}
	if typed == "" && !s.Optional {
		return a, fmt.Errorf("it must be given")
	}
	switch s.Kind {
	case Whole:
		if typed == "" {
			a.Value = "0"
		} else if n, err := strconv.Atoi(typed); err != nil || n < 0 {
			return a, fmt.Errorf("%q is not a whole number from 0 up", typed)
		}
	case Decimal:
		if typed == "" {
			a.Value = "0"
		} else if _, err := unit.ParseNumber(typed); err != nil {
			return a, err
		}
	case Duration:
		if typed == "" {
			a.Value = "0s"
		} else if _, err := unit.ParseSpan(typed); err != nil {
			return a, err
		}
	case YesNo:
		if typed != "yes" && typed != "no" {
			return a, fmt.Errorf("%q is neither yes nor no", typed)
		}
	case Choice:
		if !slices.Contains(s.Allowed, typed) && typed != "" {
			return a, fmt.Errorf("%q is not known; allowed: %s", typed, strings.Join(s.Allowed, ", "))
		}
		a.Text = true
	case Calendar:
		if err := new(unit.Date).UnmarshalText([]byte(typed)); err != nil {
			return a, err
		}
		a.Text = true
	case Phrase:
		if strings.ContainsAny(typed, "\r\n") {
			return a, fmt.Errorf("write it on one line")
		}
		a.Text = true
	}
	return a, nil
}

// settingsOf makes the settings of one rule, which lies at a path.
type settingsOf struct {
	path []string
	list []Setting
}

func at(path ...string) *settingsOf { return &settingsOf{path: path} }

func (s *settingsOf) add(key string, kind Kind, value string, change ...func(*Setting)) *settingsOf {
	x := Setting{Path: append(slices.Clone(s.path), key), Kind: kind, Value: value}
	for _, f := range change {
		f(&x)
	}
	s.list = append(s.list, x)
	return s
}

func optional(s *Setting) { s.Optional = true }

func in(name string) func(*Setting) { return func(s *Setting) { s.Unit = name } }

func oneOf[T ~string](allowed []T) func(*Setting) {
	return func(s *Setting) {
		for _, a := range allowed {
			s.Allowed = append(s.Allowed, string(a))
		}
	}
}

// whole writes a number that is not given as nothing.
func whole(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func span(s unit.Span) string {
	if s == 0 {
		return ""
	}
	text, err := s.MarshalText()
	if err != nil {
		return s.String()
	}
	return string(text)
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
