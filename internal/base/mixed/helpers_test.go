package mixed_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"rinsate/internal/base/mixed"
)

// must unwraps a result whose arguments the test itself made valid.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// near says whether got is want within a tolerance relative to want or to 1e-3, so that numbers
// that are nearly zero are compared with the size of the others.
func near(got, want, tolerance float64) bool {
	return math.Abs(got-want) <= tolerance*max(math.Abs(want), 1e-3)
}

func wantNear(t interface {
	Helper()
	Errorf(format string, args ...any)
}, what string, got, want, tolerance float64,
) {
	t.Helper()
	if !near(got, want, tolerance) {
		t.Errorf("%s: got %.15g, want %.15g, off by %.3g", what, got, want, got-want)
	}
}

// table is a CSV file by column.
type table map[string][]string

func readTable(tb testing.TB, name string) table {
	tb.Helper()
	file, err := os.Open("testdata/" + name)
	if err != nil {
		tb.Fatal(err)
	}
	records, err := csv.NewReader(file).ReadAll()
	if err != nil {
		tb.Fatal(err)
	}
	if err := file.Close(); err != nil {
		tb.Fatal(err)
	}
	columns := table{}
	for i, name := range records[0] {
		for _, record := range records[1:] {
			columns[name] = append(columns[name], record[i])
		}
	}
	return columns
}

func (c table) numbers(name string) []float64 {
	values := make([]float64, len(c[name]))
	for i, text := range c[name] {
		values[i] = must(strconv.ParseFloat(text, 64))
	}
	return values
}

func (c table) counts(name string) []int32 {
	var counts []int32
	for _, x := range c.numbers(name) {
		counts = append(counts, int32(x))
	}
	return counts
}

func (c table) factor(name string) mixed.Factor { return mixed.NewFactor(name, c[name]) }

func dyestuff(tb testing.TB, file string) mixed.Design {
	tb.Helper()
	c := readTable(tb, file)
	return mixed.Design{Response: c.numbers("Yield"), Random: []mixed.Factor{c.factor("Batch")}}
}

func penicillin(tb testing.TB) mixed.Design {
	tb.Helper()
	c := readTable(tb, "penicillin.csv")
	return mixed.Design{
		Response: c.numbers("diameter"),
		Random:   []mixed.Factor{c.factor("plate"), c.factor("sample")},
	}
}

func crossedRows(tb testing.TB) mixed.Design {
	tb.Helper()
	c := readTable(tb, "crossed.csv")
	return mixed.Design{
		Response:   c.numbers("y"),
		Fixed:      []mixed.Factor{c.factor("kind")},
		Covariates: []mixed.Covariate{{Name: "hours", Values: c.numbers("hours")}},
		Random:     []mixed.Factor{c.factor("scope"), c.factor("person"), c.factor("lot")},
	}
}

func cattle(tb testing.TB) mixed.Design {
	tb.Helper()
	c := readTable(tb, "cbpp.csv")
	return mixed.Design{
		Response: c.numbers("incidence"), Trials: c.counts("size"),
		Fixed: []mixed.Factor{c.factor("period")}, Random: []mixed.Factor{c.factor("herd")},
	}
}

func failures(tb testing.TB) mixed.Design {
	tb.Helper()
	c := readTable(tb, "failures.csv")
	return mixed.Design{
		Response:   c.numbers("fail"),
		Fixed:      []mixed.Factor{c.factor("kind")},
		Covariates: []mixed.Covariate{{Name: "hours", Values: c.numbers("hours")}},
		Random:     []mixed.Factor{c.factor("scope"), c.factor("person")},
	}
}
