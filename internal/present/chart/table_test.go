package chart_test

import (
	"slices"
	"strings"
	"testing"

	"rinsate/internal/present/chart"
)

func TestTables(t *testing.T) {
	t.Parallel()
	roc := rocCurves()
	tests := []struct {
		name    string
		picture chart.Picture
		header  string
		rows    int
		row     int
		want    string
	}{
		{"funnel", funnelPlot(), "Unit|Samples|At or over action (%)|Beyond the limits", 34, 20, "D-03 (duodenoscope)|150|24 %|yes"},
		{"roc", roc, "Curve|Point|1 − specificity|Sensitivity|Chosen", 42, 9, "instrument channel, AUC 0.83 (0.76 to 0.9)|220 RLU|20.25 %|72.66 %|yes"},
		// 1 − (1 − ½)^k at the action level, where one point decides evenly; 10^2.3 is 199.53.
		{"oc", ocCurves(), "True median (RLU)|1 point|2 points|4 points|8 points|Mark", 48, 26, "199.53|49.88 %|74.88 %|93.69 %|99.6 %|"},
		{"oc mark", ocCurves(), "True median (RLU)|1 point|2 points|4 points|8 points|Mark", 48, 47, "200|||||even, 50 %"},
		{"forest, ranked, summary last", forestPlot(), "Name|Ratio of readings|From|To|Ratio (95 %)|n", 8, 7, "All|1.05|0.92|1.2|1.05 (0.92 to 1.20)|1421"},
		{"forest, the largest first", forestPlot(), "Name|Ratio of readings|From|To|Ratio (95 %)|n", 8, 0, "Elevator present|2.1|1.4|5.2|2.10 (1.40 to 5.20)|137"},
		{"histogram", histogram(), "From|To|Readings|Note", 24, 0, "5.01|6.31|14|known only to lie here"},
		{"histogram level", histogram(), "From|To|Readings|Note", 24, 22, "112|229||99th percentile 151 RLU"},
	}
	for _, test := range tests {
		table := test.picture.Table()
		if got := strings.Join(table.Header, "|"); got != test.header {
			t.Errorf("%s: header %s", test.name, got)
		}
		if len(table.Rows) != test.rows {
			t.Errorf("%s: %d rows, want %d", test.name, len(table.Rows), test.rows)
			continue
		}
		if got := strings.Join(table.Rows[test.row], "|"); got != test.want {
			t.Errorf("%s: row %d is %s", test.name, test.row, got)
		}
	}
}

// Each number in a tooltip stands in the table's row of the same thing.
func TestTooltipsAgreeWithTheTable(t *testing.T) {
	t.Parallel()
	funnel, forest, bars := funnelPlot(), forestPlot(), histogram()
	forest.Effects = slices.DeleteFunc(forest.Effects, func(e chart.Effect) bool { return e.Lo != e.Lo })
	for _, p := range []chart.Picture{funnel, forest, bars} {
		r := inspect(t, p, 720, p.Height(720))
		rows := p.Table().Rows
		for _, title := range r.titles {
			if !slices.ContainsFunc(rows, func(row []string) bool {
				// Three cells of the row stand in the tooltip.
				return strings.Contains(title, row[0]) && strings.Contains(title, row[1]) && strings.Contains(title, row[2])
			}) {
				t.Errorf("no row for %q", title)
			}
		}
	}
}

func TestTableHTML(t *testing.T) {
	t.Parallel()
	table := chart.Table{Caption: "A & B", Header: []string{"<x>"}, Rows: [][]string{{`"1" <2>`}, {"é"}}}
	want := `<table class="ch-table"><caption>A &amp; B</caption><thead><tr><th scope="col">&lt;x&gt;</th></tr></thead>
<tbody><tr><td>&#34;1&#34; &lt;2&gt;</td></tr>
<tr><td>é</td></tr>
</tbody></table>
`
	if got := string(table.HTML()); got != want {
		t.Errorf("got %s", got)
	}
}
