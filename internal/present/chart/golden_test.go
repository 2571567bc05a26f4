package chart_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"rinsate/internal/present/chart"
)

var update = flag.Bool("update", false, "rewrite the files in testdata")

// golden compares with a file of testdata, or writes it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s has changed; look at the pictures after go test -update", path)
	}
}

func TestGoldenPictures(t *testing.T) {
	t.Parallel()
	for _, piece := range gallery() {
		for _, width := range []float64{320, 1000} {
			svg := chart.SVG(piece.picture, chart.SVGOptions{Width: width, Standalone: true})
			golden(t, fmt.Sprintf("%s-%g.svg", piece.name, width), svg)
		}
	}
	golden(t, "sparkline.svg", chart.Sparkline(sparkline(), "spark"))
}

func TestGoldenWithinPage(t *testing.T) {
	t.Parallel()
	golden(t, "roc-page.svg", chart.SVG(rocCurves(), chart.SVGOptions{ID: "roc-7"}))
	golden(t, "forest-table.html", forestPlot().Table().HTML())
	golden(t, "style.css", []byte(chart.Stylesheet()))
}

func sparkline() chart.Spark {
	return chart.Spark{
		Title: "Readings of C-07", Level: 2.3, HasLevel: true,
		Values: []float64{1.6, 1.5, 1.7, nan, 1.4, nan, 1.6, 1.9, 2.4, 1.8, 1.7},
	}
}
