package web

import (
	"fmt"
	"math"
	"net/http"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/stats"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/present/figure"
	"rinsate/internal/web/kit"
)

// studyPage says how much of the spread is the measurement itself.
type studyPage struct {
	Table pastedForm
	// Keep is whether the interaction stays in the model in any case.
	Keep   bool
	Answer *gaugeAnswer
}

type gaugeAnswer struct {
	Said       string
	N          int
	Rows       [][]string
	Categories int
	kit.Picture
}

func (s meterPages) gaugeStudy(x *kit.Exchange) error {
	return x.Show(http.StatusOK, "gauge-study", false, studyPage{})
}

// judgeStudy analyses a table that is sent along and not kept.
func (s meterPages) judgeStudy(x *kit.Exchange) error {
	name, content, err := x.Pasted()
	page := studyPage{Table: pastedForm{Text: x.R.PostFormValue("table")}, Keep: x.R.PostFormValue("interaction") != ""}
	if err == nil {
		var list []quality.Measurement
		if list, err = kit.ReadPasted(name, content, desk.StudyColumns(), desk.ReadStudy); err == nil {
			page.Answer, err = gaugeOf(list, page.Keep)
		}
	}
	if err == nil {
		return x.Show(http.StatusOK, "gauge-study", false, page)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	page.Table.Problem = words
	return x.Show(status, "gauge-study", false, page)
}

// gaugeOf analyses a study.
func gaugeOf(list []quality.Measurement, keep bool) (*gaugeAnswer, error) {
	study, err := quality.NewStudy(list)
	if err != nil {
		return nil, &fault.Error{Code: fault.Invalid, Message: strings.TrimSuffix(err.Error(), ": "+stats.ErrArgument.Error())}
	}
	g, err := study.Gauge(!keep, stats.MustConfidence("0.95"))
	if err != nil {
		return nil, err
	}
	a := &gaugeAnswer{
		Said:       kit.Sentence(g.Why),
		N:          len(list),
		Categories: g.Distinct,
		Picture:    kit.Pictured("gauge", figure.Gauge("Components of the spread", g)),
	}
	for _, c := range g.Components() {
		note := ""
		if c.Name == quality.GaugeName {
			note = "the measurement: the three above together"
		}
		if c.Negative {
			note = "came out negative, set to zero"
		}
		a.Rows = append(a.Rows, []string{
			c.Name, fmt.Sprintf("%.4f", c.SD), fmt.Sprintf("%.4f to %.4f", math.Sqrt(max(0, c.CI.Lo)), math.Sqrt(max(0, c.CI.Hi))),
			percentOf(c.Contribution), percentOf(c.StudyVariation), note,
		})
	}
	return a, nil
}

// percentOf writes a fraction for a person.
func percentOf(p float64) string { return fmt.Sprintf("%.1f %%", 100*p) }
