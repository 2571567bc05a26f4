package trend_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

// near says whether got is want within a relative tolerance, or within 1e-14 where want is tiny.
func near(got, want, tolerance float64) bool {
	return math.Abs(got-want) <= max(tolerance*math.Abs(want), 1e-14)
}

func wantNear(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !near(got, want, tolerance) {
		t.Errorf("%s: got %.15g, want %.15g, off by %.3g", what, got, want, got-want)
	}
}

// within compares with an absolute tolerance, for printed values.
func within(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g within %g", what, got, want, tolerance)
	}
}

// must unwraps a result whose arguments the test itself made valid.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// readTable returns the rows of a CSV file as maps from column name to text.
func readTable(t *testing.T, name string) []map[string]string {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
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
		for i, column := range records[0] {
			row[column] = strings.TrimSpace(record[i])
		}
		rows = append(rows, row)
	}
	return rows
}

func atof(t *testing.T, s string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// column returns a column of a CSV file as numbers.
func column(t *testing.T, file, name string) []float64 {
	t.Helper()
	var out []float64
	for _, row := range readTable(t, file) {
		out = append(out, atof(t, row[name]))
	}
	return out
}

// start is the instant of the first reading of the invented series; they have one reading a day.
const start = unit.Instant(1_767_225_600_000_000) // 2026-01-01T00:00:00Z

const day = unit.Instant(unit.Day)

// lognormal returns a reading whose log10(RLU+1) is normal with mean 1.6 and sigma 0.3, shifted by
// so many sigma: about 39 RLU at the centre.
func lognormal(random *rand.Rand, shift float64) float64 {
	return max(0, trend.RLU(1.6+0.3*(random.NormFloat64()+shift)))
}

// series returns n readings, the first of them the from-th of its series.
func series(random *rand.Rand, from, n int, shift float64) []trend.Point {
	points := make([]trend.Point, n)
	for i := range points {
		points[i] = trend.Point{
			ID: ledger.ID(fmt.Sprintf("reading-%04d", from+i)), At: start + unit.Instant(from+i)*day,
			Value: lognormal(random, shift),
		}
	}
	return points
}

// pointsOf returns a series of the values given.
func pointsOf(values ...float64) []trend.Point {
	points := make([]trend.Point, len(values))
	for i, v := range values {
		points[i] = trend.Point{ID: ledger.ID(fmt.Sprintf("reading-%04d", i)), At: start + unit.Instant(i)*day, Value: v}
	}
	return points
}

func key() trend.Key {
	return trend.Key{Scope: "DUO-07", Point: scope.ElevatorRecess, System: "meter-a", Kit: "swab-1"}
}

// newBaseline returns the baseline of 30 readings of a stable series.
func newBaseline(random *rand.Rand) trend.Baseline {
	return must(trend.NewBaseline(key(), series(random, 0, 30, 0)))
}

// standard is a baseline on which z = log10(RLU+1), so that a test can say what it feeds the charts.
func standard(n, df int) trend.Baseline {
	return trend.Baseline{Key: key(), Mean: 0, Sigma: 1, N: n, DF: df, First: start - 100*day, Last: start - day}
}

// values draws standardised values between −4 and 4, in steps of 1/256, so that ties happen and
// sums are exact.
func values(least, most int) *rapid.Generator[[]float64] {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) float64 {
		return float64(rapid.IntRange(-1024, 1024).Draw(t, "z·256")) / 256
	}), least, most)
}
