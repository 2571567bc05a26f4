package chart

import (
	"math"
	"strconv"
	"strings"
)

// number writes v with at most two decimals, no trailing zeros, a point whatever the language, and
// an exponent from 10¹⁵. What is not finite is a dash.
func number(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	if math.Abs(v) >= 1e15 {
		return strconv.FormatFloat(v, 'e', 2, 64)
	}
	return string(appendNumber(nil, v))
}

// brief writes a number on an axis: large ones with an exponent where that is shorter.
func brief(v float64) string {
	plain := number(v)
	if short := strconv.FormatFloat(v, 'g', -1, 64); math.Abs(v) >= 1e6 && len(short) < len(plain) {
		return short
	}
	return plain
}

// appendNumber appends v, |v| < 1e15, with at most two decimals.
func appendNumber(b []byte, v float64) []byte {
	hundredths := int64(math.Round(v * 100))
	if hundredths < 0 {
		b, hundredths = append(b, '-'), -hundredths
	}
	b = strconv.AppendInt(b, hundredths/100, 10)
	switch rest := hundredths % 100; {
	case rest == 0:
	case rest%10 == 0:
		b = append(b, '.', byte('0'+rest/10))
	default:
		b = append(b, '.', byte('0'+rest/10), byte('0'+rest%10))
	}
	return b
}

// counted returns "1 point" or "3 points".
func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// joined joins the parts that are not empty.
func joined(separator string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, separator)
}
