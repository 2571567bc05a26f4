package stats_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// close12 is the relative tolerance against reference values of fifteen and more digits.
const close12 = 1e-12

// near says whether got is want within a relative tolerance, or within 1e-15 where want is tiny.
func near(got, want, tolerance float64) bool {
	return math.Abs(got-want) <= max(tolerance*math.Abs(want), 1e-15)
}

func wantNear(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !near(got, want, tolerance) {
		t.Errorf("%s: got %.15g, want %.15g, off by %.3g", what, got, want, got-want)
	}
}

func wantInterval(t *testing.T, what string, got, want stats.Interval) {
	t.Helper()
	wantNear(t, what+" lower limit", got.Lo, want.Lo, close12)
	wantNear(t, what+" upper limit", got.Hi, want.Hi, close12)
}

// readTable returns the rows of a CSV file as maps from column name to text.
func readTable(t *testing.T, path string) []map[string]string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	records, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	rows := make([]map[string]string, 0, len(records))
	for _, record := range records[1:] {
		row := map[string]string{}
		for i, name := range records[0] {
			row[name] = strings.TrimSpace(record[i])
		}
		rows = append(rows, row)
	}
	return rows
}

func atoi(t *testing.T, s string) int {
	t.Helper()
	n, err := strconv.Atoi(s)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func atof(t *testing.T, s string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// must unwraps a result whose arguments the test itself made valid.
func must[T any](t interface {
	Helper()
	Fatal(args ...any)
},
) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// drawConfidence draws a confidence of one to four decimal places.
func drawConfidence(t *rapid.T) stats.Confidence {
	c, err := stats.ConfidenceOf(float64(rapid.IntRange(1, 9999).Draw(t, "confidence × 10⁴")) / 1e4)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// probabilityOf takes the shortest decimal that reads back as f.
func probabilityOf(f float64) (stats.Probability, error) {
	return stats.ParseProbability(strconv.FormatFloat(f, 'f', -1, 64))
}
