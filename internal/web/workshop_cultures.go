package web

import (
	"fmt"

	"rinsate/internal/base/stats"
	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/present/figure"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// culturesView judges the level by cultures.
type culturesView struct {
	Columns []table.Field
	// Typed is what was pasted and not accepted.
	Typed string
	// Given is how many cultures there are; the rest is empty without any.
	Given    int
	Judged   *judgement
	Without  string
	Problems []string
}

// judgement is what cultures say of a level.
type judgement struct {
	Sentence string
	Warnings []string
	Figures  []figureLine
	Picture  kit.Picture
	// Confidence is that of the intervals.
	Confidence string
	// Flagged and Quiet cross the level with the cultures.
	TruePositive, FalseNegative, FalsePositive, TrueNegative int
}

// figureLine is a figure with its interval.
type figureLine struct{ Name, Value, Interval string }

func (s levelPages) fillCultures(x *kit.Exchange, page *workshopPage, d desk.Studied, l reading.Level, sent kit.Form) error {
	c := &culturesView{Columns: desk.CultureColumns(), Typed: sent.Typed["csv"]}
	page.Cultures = c
	all, err := page.q.cultures()
	if err != nil || len(all) == 0 {
		return err
	}
	c.Given = len(all)
	c.Without = page.Path + "?" + page.q.with("step", culturesStep, "cultures", "", "prevalence", "")
	return s.View(x.R.Context(), func(v desk.View) error {
		past, err := v.Studies().LatestPast(d.From, d.To, mostReplayed, 0, nil)
		if err != nil {
			return err
		}
		c.Judged, err = s.judged(page.q, "cultures", &past, l, d.Plan.Confidence, all)
		return err
	})
}

// judged judges a level by cultures. id tells its picture from others of the page.
func (s levelPages) judged(q asked, id string, past *desk.Past, l reading.Level, c stats.Confidence, all []desk.Culture) (*judgement, error) {
	var prevalence stats.Probability
	if text := q.get("prevalence"); text != "" {
		var err error
		if prevalence, err = stats.ParseProbability(text); err != nil {
			return nil, mistyped("The share of positive scopes %q is no share. Write it like 0.05 for 5 %%.", text)
		}
	}
	pairs, unlinked := past.Pairs(level.Target{System: l.System, Kit: l.Kit, Point: l.Point, Kind: l.Kind}, all)
	r, err := desk.Discriminate(pairs, l, c, prevalence)
	if err != nil {
		if unlinked > 0 {
			return nil, mistyped(
				"%s %d of %d cultures have no reading of this target in the %d days before them.",
				kit.Sentence(err.Error()),
				unlinked,
				len(all),
				desk.CultureDays,
			)
		}
		return nil, err
	}
	roc, err := figure.Discrimination(pairs, r)
	if err != nil {
		return nil, err
	}
	j := &judgement{
		Sentence: kit.Sentence(
			r.Sentence,
		),
		Warnings:      sentences(r.Warnings),
		Picture:       kit.Pictured(id, roc),
		Confidence:    shareText(r.Confidence.Float()),
		Figures:       figureLines(r),
		TruePositive:  r.AtLevel.Counts.TruePositive,
		FalseNegative: r.AtLevel.Counts.FalseNegative,
		FalsePositive: r.AtLevel.Counts.FalsePositive,
		TrueNegative:  r.AtLevel.Counts.TrueNegative,
	}
	if unlinked > 0 {
		j.Warnings = append(
			j.Warnings,
			fmt.Sprintf("%d of %d cultures have no reading of this target in the %d days before them and do not count.", unlinked, len(all), desk.CultureDays),
		)
	}
	return j, nil
}

// sentences makes sentences of warnings.
func sentences(all []string) []string {
	made := make([]string, len(all))
	for i, text := range all {
		made[i] = kit.Sentence(text)
	}
	return made
}

// figureLines are the figures of a judgement by cultures.
func figureLines(r level.Reference) []figureLine {
	line := func(name string, f level.Figure) figureLine {
		return figureLine{name, fmt.Sprintf("%.3f", float64(f.Value)), fmt.Sprintf("%.3f to %.3f", float64(f.Interval.Lo), float64(f.Interval.Hi))}
	}
	at := r.AtLevel
	lines := []figureLine{
		line("area under the curve", r.Area),
		line(
			fmt.Sprintf("sensitivity of action level %s: %d of %d positive scopes are over it", at.Action, at.Counts.TruePositive, r.Positives),
			at.Sensitivity,
		),
		line(fmt.Sprintf("specificity of action level %s: %d of %d negative scopes are not", at.Action, at.Counts.TrueNegative, r.Negatives), at.Specificity),
	}
	if at.Positive != nil {
		share := shareText(at.Prevalence.Float())
		lines = append(
			lines,
			line("share of positive scopes among those over it, when "+share+" are positive", *at.Positive),
			line("share of negative scopes among the others, when "+share+" are positive", *at.Negative),
		)
	}
	if r.Best != nil {
		lines = append(lines, line(fmt.Sprintf("Youden index of the best cut, at or over %s RLU", r.Best.Cut), r.Best.Index))
	}
	return lines
}
