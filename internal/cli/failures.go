package cli

import (
	"fmt"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
)

func (a numberCommands) failuresCommand() *cobra.Command {
	var out output
	var from, to, tag, kind, by, view string
	c := &cobra.Command{
		Use: "failures", Short: "Show how often first tests were over the action level, by week, and how close together", Args: cobra.NoArgs,
		Long: `Show how often the first test of a cycle was over the action level, by days, weeks or
months, with limits that allow for shares that vary more than chance explains (Laney's
p′), and, for rare failures, how many tests and days lay between them (g and t charts)
and whether the last three came too close together.`,
		RunE: func(c *cobra.Command, _ []string) error {
			if !slices.Contains(desk.Cadences, desk.Cadence(by)) {
				return usageError{fmt.Errorf("--by %s: allowed: %s", by, scope.Words(desk.Cadences))}
			}
			if kind != "" && !slices.Contains(scope.Kinds, scope.Kind(kind)) {
				return usageError{fmt.Errorf("--kind %s: allowed: %s", kind, scope.Words(scope.Kinds))}
			}
			if !slices.Contains(failureViews, view) {
				return usageError{fmt.Errorf("--chart %s: allowed: %s", view, scope.Words(failureViews))}
			}
			return a.view(c, func(v desk.View) error {
				start, end, err := window(v, from, to)
				if err != nil {
					return err
				}
				if tag != "" {
					if err := known(v, tag); err != nil {
						return err
					}
				}
				verifications, err := v.Numbers().FirstTests(start, end, tag, scope.Kind(kind))
				if err != nil {
					return err
				}
				periods := desk.Periods(verifications, desk.Cadence(by), v.Zone())
				shares, err := desk.Shares(periods)
				if err != nil {
					return err
				}
				return a.failures(v, periods, shares, desk.BetweenFailures(verifications), view, out)
			})
		},
	}
	out.flags(c, true)
	c.Flags().StringVar(&from, "from", "", "tests from this instant on (default 180 days back)")
	c.Flags().StringVar(&to, "to", "", "tests up to this instant (default now)")
	c.Flags().StringVar(&tag, "scope", "", "one scope only")
	c.Flags().StringVar(&kind, "kind", "", "one kind of scope only: "+scope.Words(scope.Kinds))
	c.Flags().StringVar(&by, "by", string(desk.Weekly), "length of a period: "+scope.Words(desk.Cadences))
	c.Flags().StringVar(&view, "chart", failureViews[0], "what --svg and --pdf show: "+scope.Words(failureViews))
	return c
}

var failureViews = []string{"shares", "gaps", "times"}

func (a numberCommands) failures(v desk.View, periods []desk.Period, shares trend.AttributeChart, b desk.Between, view string, out output) error {
	gaps, gapsErr := trend.NewGChart(b.Gaps)
	times, timesErr := trend.NewTChart(b.Days)
	if out.draws() {
		var picture chart.Picture
		switch view {
		case "gaps":
			if gapsErr != nil {
				return fmt.Errorf("too few failures to show the gaps between them: %w", gapsErr)
			}
			picture = figure.Gaps("First tests between those over the action level", b, gaps, v.Zone(), figure.Places{})
		case "times":
			if timesErr != nil {
				return fmt.Errorf("too few failures to show the times between them: %w", timesErr)
			}
			picture = figure.Times("Days between first tests over the action level", b, times, v.Zone(), figure.Places{})
		default:
			picture = figure.Shares("First tests over the action level", periods, shares, v.Zone())
		}
		if err := a.draw(out, picture, v.Now().Time()); err != nil {
			return err
		}
	}
	if a.json {
		return a.printJSON(failuresJSON(periods, shares, b, gaps, gapsErr == nil))
	}
	rows := make([][]string, len(periods))
	for i, p := range periods {
		x := shares.Points[i]
		mark := ""
		switch {
		case x.Crossing > 0:
			mark = "▲ above its limit"
		case x.Crossing < 0:
			mark = "▼ below its limit"
		}
		rows[i] = []string{
			p.From.In(v.Zone())[:10],
			strconv.Itoa(int(p.Trials)),
			strconv.Itoa(p.Failures),
			percent(x.Value),
			percent(x.Lower) + "–" + percent(x.Upper),
			mark,
		}
	}
	if err := a.printRows(out, []string{"from", "first tests", "over", "share", "limits", ""}, rows); err != nil || out.csv {
		return err
	}
	fmt.Fprintln(a.Out)
	for _, words := range figure.FailureWords(shares, b) {
		fmt.Fprintln(a.Out, words)
	}
	a.printCaution()
	return nil
}

func failuresJSON(periods []desk.Period, shares trend.AttributeChart, b desk.Between, gaps trend.GChart, known bool) map[string]any {
	list := make([]map[string]any, len(periods))
	for i, p := range periods {
		x := shares.Points[i]
		list[i] = map[string]any{
			"from":   p.From,
			"to":     p.To,
			"tests":  int(p.Trials),
			"over":   p.Failures,
			"share":  x.Value,
			"lower":  x.Lower,
			"upper":  x.Upper,
			"signal": x.Crossing,
		}
	}
	doc := map[string]any{"periods": list, "centre": shares.Centre, "sigma_z": shares.SigmaZ, "failures": orEmpty(b.Failures), "tests_since": b.Since}
	if known {
		doc["mean_gap"], doc["upper_gap"] = gaps.Gap, gaps.Quantile(0.99865)
	}
	return doc
}
