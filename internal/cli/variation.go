package cli

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/stats"
	"rinsate/internal/desk"
	"rinsate/internal/domain/attribution"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/figure"
)

func (a numberCommands) variationCommand() *cobra.Command {
	var out output
	var from, to, system, kit, without, source, confidence string
	var least int
	var failures bool
	c := &cobra.Command{
		Use: "variation", Short: "Say where the variation of readings comes from: scope, person, lot or meter",
		Long: `Say where the variation of readings comes from. A mixed model takes the kind of point and of
scope, the number of uses since the last repair and the delay before cleaning into account
and divides the rest between scopes, people, lots, meters and what none of them explains.
Single effects are shrunk towards nothing the more the fewer readings speak for them, and
have intervals.

--failures asks the same of whether readings were over the action level: odds in place of
readings. They are fewer and carry less.

--without lot=NAME shows what would change if one scope, person, lot or meter were left out.

` + peopleCaution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			q := attribution.Usual()
			q.Least = least
			var err error
			if q.Confidence, err = stats.ParseConfidence(confidence); err != nil {
				return usageError{err}
			}
			if !slices.Contains(attribution.Sources, attribution.Source(source)) {
				return usageError{fmt.Errorf("--draw %s: allowed: %s", source, scope.Words(attribution.Sources))}
			}
			left, name, err := leftOut(without)
			if err != nil {
				return err
			}
			return a.view(c, func(v desk.View) error {
				start, end, err := window(v, from, to)
				if err != nil {
					return err
				}
				rows, scales, err := v.Numbers().Explained(start, end)
				if err != nil {
					return err
				}
				scale, err := chosen(scales, system, kit)
				if err != nil {
					return err
				}
				list := rows[[2]string{scale.System, scale.Kit}]
				explain, what := attribution.Explain, "readings"
				if failures {
					explain, what = attribution.ExplainFailures, "odds of a failure"
				}
				answer, err := explain(list, q)
				if err != nil {
					return err
				}
				var less *attribution.Answer
				if name != "" {
					rest := attribution.Without(list, left, name)
					if len(rest) == len(list) {
						return &fault.Error{
							Code:    fault.NotFound,
							Message: fmt.Sprintf("there is no reading of %s %s in that time", left, name),
							Hint:    "see the names with: rinsate variation",
						}
					}
					x, err := explain(rest, q)
					if err != nil {
						return err
					}
					less = &x
				}
				if out.draws() {
					title := fmt.Sprintf("Readings by %s, %s with %s", source, scale.System, scale.Kit)
					if err := a.draw(out, figure.Effects(title, what, answer.Of(attribution.Source(source))), v.Now().Time()); err != nil {
						return err
					}
				}
				if a.json {
					return a.printJSON(
						map[string]any{"system": scale.System, "kit": scale.Kit, "from": start, "to": end, "of": what, "answer": answer, "without": less},
					)
				}
				return a.attribution(scale, scales, explained{answer, less, without, what}, out)
			})
		},
	}
	out.flags(c, true)
	c.Flags().StringVar(&from, "from", "", "readings from this instant on (default 180 days back)")
	c.Flags().StringVar(&to, "to", "", "readings up to this instant (default now)")
	c.Flags().StringVar(&system, "system", "", "meter system (default: the one with the most readings)")
	c.Flags().StringVar(&kit, "kit", "", "kit")
	c.Flags().StringVar(&without, "without", "", "leave one out: scope=TAG, person=CODE, lot=LOT or meter=CODE")
	c.Flags().IntVar(&least, "least", attribution.Usual().Least, "rank only what has at least so many readings")
	c.Flags().StringVar(&confidence, "confidence", "0.95", "confidence of the intervals")
	c.Flags().BoolVar(&failures, "failures", false, "explain which readings were over the action level")
	c.Flags().StringVar(&source, "draw", string(attribution.Person), "what --svg and --pdf show: "+scope.Words(attribution.Sources))
	return c
}

func leftOut(text string) (attribution.Source, string, error) {
	if text == "" {
		return "", "", nil
	}
	source, name, ok := strings.Cut(text, "=")
	if !ok || name == "" || !slices.Contains(attribution.Sources, attribution.Source(source)) {
		return "", "", usageError{fmt.Errorf("--without %q: write one of %s, then = and a name, such as lot=P432", text, scope.Words(attribution.Sources))}
	}
	return attribution.Source(source), name, nil
}

// chosen returns the scale that was asked for, or the one with the most readings.
func chosen(scales []desk.Scale, system, kit string) (desk.Scale, error) {
	for _, s := range scales {
		if (system == "" || s.System == system) && (kit == "" || s.Kit == kit) {
			return s, nil
		}
	}
	if len(scales) == 0 {
		return desk.Scale{}, &fault.Error{Code: fault.NotFound, Message: "there is no reading in that time", Hint: "choose an earlier begin with --from"}
	}
	var there []string
	for _, s := range scales {
		there = append(there, fmt.Sprintf("%s with %s (%d readings)", s.System, s.Kit, s.Readings))
	}
	return desk.Scale{}, &fault.Error{Code: fault.NotFound, Message: "there is no such reading in that time", Hint: "there are: " + strings.Join(there, ", ")}
}

// explained is an answer, and the one without something where that was asked.
type explained struct {
	attribution.Answer
	less    *attribution.Answer
	without string
	what    string
}

func (a numberCommands) attribution(scale desk.Scale, scales []desk.Scale, answer explained, out output) error {
	less, without := answer.less, answer.without
	rows := make([][]string, len(answer.Parts))
	header := []string{"source", "levels", "share of the variance", "sd", "interval"}
	if less != nil {
		header = append(header, "share without "+without)
	}
	for i, p := range answer.Parts {
		levels := ""
		if p.Levels > 0 {
			levels = strconv.Itoa(p.Levels)
		}
		rows[i] = []string{figure.PartName(p), levels, percent(p.Share), fmt.Sprintf("%.3f", p.SD), ""}
		if p.Hi > 0 {
			rows[i][4] = fmt.Sprintf("%.3f–%.3f", p.Lo, p.Hi)
		}
		if less != nil {
			cell := ""
			for _, q := range less.Parts {
				if q.Source == p.Source {
					cell = percent(q.Share)
				}
			}
			rows[i] = append(rows[i], cell)
		}
	}
	effects := make([][]string, 0, len(answer.Effects))
	rank := make(map[attribution.Source]int)
	few := 0
	for _, e := range answer.Effects {
		if !e.Ranked {
			few++
			continue
		}
		rank[e.Source]++
		mark := ""
		switch {
		case e.Distinct && e.Ratio > 1:
			mark = "▲ higher"
		case e.Distinct:
			mark = "▼ lower"
		}
		effects = append(effects, []string{
			string(e.Source), strconv.Itoa(rank[e.Source]), e.Name, strconv.Itoa(e.Rows), fmt.Sprintf("× %.2f", e.Ratio),
			fmt.Sprintf("%.2f–%.2f", e.Lo, e.Hi), mark,
		})
	}
	effectHeader := []string{"source", "rank", "name", "readings", answer.what + ", times as high", "interval", ""}
	if out.csv {
		return a.printRows(out, effectHeader, effects)
	}
	fmt.Fprintf(a.Out, "%s with %s: %d readings\n\n", scale.System, scale.Kit, answer.Rows)
	a.printTable(header, rows)
	fmt.Fprintln(a.Out)
	a.printTable(effectHeader, effects)
	fmt.Fprintln(a.Out)
	fixed := make([][]string, 0, len(answer.Fixed))
	for _, f := range answer.Fixed {
		fixed = append(fixed, []string{f.Name, fmt.Sprintf("× %.2f", f.Ratio), fmt.Sprintf("%.2f–%.2f", f.Lo, f.Hi)})
	}
	a.printTable([]string{"taken into account", answer.what + ", times as high", "interval"}, fixed)
	fmt.Fprintln(a.Out)
	if few > 0 {
		fmt.Fprintf(a.Out, "! %d not ranked: too few readings, or not on record\n", few)
	}
	for _, n := range answer.Notes {
		fmt.Fprintf(a.Out, "! %s\n", n)
	}
	for _, s := range scales {
		if s != scale {
			fmt.Fprintf(a.Out, "also there: --system %q --kit %q, %d readings\n", s.System, s.Kit, s.Readings)
		}
	}
	fmt.Fprintf(a.Out, "\n%s\n", peopleCaution)
	a.printCaution()
	return nil
}
