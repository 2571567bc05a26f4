package web

import (
	"fmt"

	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/figure"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// candidatesView shows what every method proposes.
type candidatesView struct {
	Warnings []string
	Methods  []methodLine
	Picture  kit.Picture
	// Drawn names the level in the picture.
	Drawn   string
	Takes   []string
	Exports kit.Exports
	rows    [][]string
}

// methodLine is what one method proposes for both levels.
type methodLine struct {
	Method, Assumes, Alert, Action string
	// AlertLevel and ActionLevel are in RLU; empty when the method has none.
	AlertLevel, ActionLevel string
	Cells                   [2]candidateCells
	// Can says that there is a candidate for both.
	Can, Chosen bool
}

// candidateCells are the figures of one candidate.
type candidateCells struct{ Level, Share, Estimate, Interval, Upper string }

func (s levelPages) fillCandidates(x *kit.Exchange, page *workshopPage, d desk.Studied, chosen reading.Level) {
	c := &candidatesView{
		Warnings: sentences(d.Warnings),
		Exports:  page.exports(x, candidatesStep),
		Takes:    []string{string(level.UpperBound), string(level.Estimate)},
	}
	page.Candidates = c
	for _, m := range level.Methods {
		alert, action := d.Alert.By(m), d.Action.By(m)
		line := methodLine{
			Method: string(m), Assumes: m.Assumes(), Alert: alert.Sentence("alert", d.Alert.Of, d.Plan), Action: action.Sentence("action", d.Action.Of, d.Plan),
			AlertLevel: limitText(alert.Level), ActionLevel: limitText(action.Level), Chosen: page.Value("method") == string(m),
		}
		if l, err := d.Proposed(m); err == nil {
			line.Can, line.AlertLevel = true, limitText(l.Alert)
		}
		for i, p := range []level.Percentile{d.Alert, d.Action} {
			line.Cells[i] = cellsOf(p.By(m), p)
			c.rows = append(
				c.rows,
				[]string{
					string(m),
					[]string{"alert", "action"}[i],
					line.Cells[i].Share,
					line.Cells[i].Estimate,
					line.Cells[i].Interval,
					line.Cells[i].Upper,
					line.Cells[i].Level,
					p.By(m).Refused,
				},
			)
		}
		c.Methods = append(c.Methods, line)
	}
	drawn := level.Method(page.Value("method"))
	if chosen.Action == 0 {
		for _, m := range []level.Method{level.Free, level.LogNormal} { // as the command line draws
			if l, err := d.Proposed(m); err == nil {
				chosen, drawn = l, m
				break
			}
		}
	}
	if chosen.Action > 0 {
		c.Drawn = string(drawn)
	}
	c.Picture = kit.Pictured("candidates", figure.Baseline(d.Samples, d.Derivation, chosen))
}

func cellsOf(c level.Candidate, p level.Percentile) candidateCells {
	cells := candidateCells{Share: shareText(p.Of.Float())}
	if c.Refused != "" {
		return cells
	}
	cells.Estimate, cells.Upper, cells.Level = fmt.Sprintf("%.0f", float64(c.Estimate)), fmt.Sprintf("%.0f", float64(c.Upper)), limitText(c.Level)
	if c.Interval != nil {
		cells.Interval = fmt.Sprintf("%.0f to %.0f", float64(c.Interval.Lo), float64(c.Interval.Hi))
	}
	return cells
}

func (c *candidatesView) listing() kit.Listing {
	l := kit.Listing{Name: "candidates", Rows: c.rows, Columns: []table.SheetColumn{
		{
			Name: "method",
		},
		{Name: "level"},
		{Name: "share of readings"},
		{Name: "estimate", Number: true},
		{Name: "interval"},
		{Name: "upper bound", Number: true},
		{Name: "level RLU", Number: true},
		{Name: "refused"},
	}}
	return l
}
