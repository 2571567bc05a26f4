package cli

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/figure"
	"rinsate/internal/wire/table"
)

// levelCommands are those that derive, judge, replay and adopt levels.
type levelCommands struct{ *app }

func (a levelCommands) levelCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "level", Short: "Derive, judge, replay and adopt alert and action levels", Args: cobra.NoArgs,
		Long: `Derive, judge, replay and adopt alert and action levels. A level belongs to one meter
system, one kit, one kind of point and one kind of scope or all; readings are never
converted from one scale to another.

  propose   candidates from the facility's own readings, by several methods
  judge     what readings and a level say of cultures
  curve     what a level does to scopes of known cleanliness
  replay    what it would have done to the past
  adopt     put it in force, with all of this attached`,
	}
	c.AddCommand(a.levelProposeCommand(), a.levelJudgeCommand(), a.levelCurveCommand(), a.levelReplayCommand(), a.levelAdoptCommand())
	return c
}

// targetFlags say what a level is for and which readings count.
type targetFlags struct {
	target           level.Target
	point, kind      string
	from, to         string
	alert, action    string
	confidence       string
	take, comparison string
	seed             string
	detection        int
	outliers         int
	exclude          []string
}

func (f *targetFlags) target4(c *cobra.Command) {
	c.Flags().StringVar(&f.target.System, "system", "", "meter system")
	c.Flags().StringVar(&f.target.Kit, "kit", "", "kit")
	c.Flags().StringVar(&f.point, "point", "", "point: "+scope.Words(scope.PointKinds))
	c.Flags().StringVar(&f.kind, "kind", "", "one kind of scope only: "+scope.Words(scope.Kinds))
	for _, name := range []string{"system", "kit", "point"} {
		must(c.MarkFlagRequired(name))
	}
}

func (f *targetFlags) window(c *cobra.Command) {
	c.Flags().StringVar(&f.from, "from", "", "readings from this instant on (default 180 days back)")
	c.Flags().StringVar(&f.to, "to", "", "readings up to this instant (default now)")
}

func (f *targetFlags) plan(c *cobra.Command) {
	usual := level.Usual(level.Target{})
	c.Flags().StringVar(&f.alert, "alert-percentile", usual.Alert.String(), "share of readings that the alert level lets pass")
	c.Flags().StringVar(&f.action, "action-percentile", usual.Action.String(), "share of readings that the action level lets pass")
	c.Flags().StringVar(&f.confidence, "confidence", usual.Confidence.String(), "confidence of bounds and intervals")
	c.Flags().StringVar(&f.take, "take", string(usual.Take), "what becomes the level: upper-bound or estimate")
	c.Flags().StringVar(&f.comparison, "comparison", string(usual.Comparison), "when a value is over the action level: over or at-or-over")
	c.Flags().IntVar(&f.detection, "detection-limit", 0, "largest count that the meter cannot tell from nothing")
	c.Flags().IntVar(&f.outliers, "outliers", 0, "leave out at most so many outliers, found by a test and listed")
	c.Flags().StringVar(&f.seed, "seed", usual.Seed, "text that the resampling starts from")
	c.Flags().StringArrayVar(&f.exclude, "exclude", nil, "leave out a reading, or all of a scope: RECORD=REASON or TAG=REASON (may be repeated)")
}

func (f *targetFlags) read() (level.Target, error) {
	f.target.Point, f.target.Kind = scope.PointKind(f.point), scope.Kind(f.kind)
	if err := f.target.Check(); err != nil {
		return f.target, usageError{err}
	}
	return f.target, nil
}

func (f *targetFlags) readPlan() (level.Plan, []desk.Doubted, error) {
	t, err := f.read()
	if err != nil {
		return level.Plan{}, nil, err
	}
	p := level.Usual(t)
	p.Take, p.Comparison, p.Detection, p.Outliers, p.Seed = level.Take(f.take), reading.Comparison(f.comparison), f.detection, f.outliers, f.seed
	if p.Alert, err = stats.ParseProbability(f.alert); err == nil {
		p.Action, err = stats.ParseProbability(f.action)
	}
	if err == nil {
		p.Confidence, err = stats.ParseConfidence(f.confidence)
	}
	if err == nil {
		err = p.Check()
	}
	if err != nil {
		return p, nil, usageError{err}
	}
	var doubted []desk.Doubted
	for _, text := range f.exclude {
		id, why, ok := strings.Cut(text, "=")
		if !ok || id == "" || strings.TrimSpace(why) == "" {
			return p, nil, usageError{fmt.Errorf("--exclude %q: write RECORD=REASON or TAG=REASON", text)}
		}
		doubted = append(doubted, desk.Doubted{ID: id, Why: strings.TrimSpace(why)})
	}
	return p, doubted, nil
}

// study is what the flags ask the desk to derive.
func (f *targetFlags) study(v desk.View) (desk.Study, error) {
	plan, doubted, err := f.readPlan()
	if err != nil {
		return desk.Study{}, err
	}
	s := desk.Study{Plan: plan, Doubted: doubted}
	s.From, s.To, err = window(v, f.from, f.to)
	return s, err
}

func noReadings(t level.Target, v desk.View, from, to unit.Instant) error {
	return &fault.Error{
		Code: fault.NotFound, Message: fmt.Sprintf("there is no reading of %s from %s to %s", t, from.In(v.Zone()), to.In(v.Zone())),
		Hint: "see the scales and points with: rinsate trend TAG",
	}
}

func (a levelCommands) levelProposeCommand() *cobra.Command {
	var f targetFlags
	var out output
	c := &cobra.Command{
		Use: "propose", Short: "Derive candidates for a level from the facility's own readings",
		Long: `Derive candidates for an alert and an action level from the facility's own first
readings after ordinary cleanings: percentiles with confidence, by a fitted log-normal
distribution and without any distribution, with readings of the same scope counted as
what they are worth. Where readings are too few, the candidate is refused with how many
more are needed.

A level from own readings says what this process usually reaches, not what is clean
enough: the manufacturer's instructions and local policy go before it.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				study, err := f.study(v)
				if err != nil {
					return err
				}
				d, err := v.Studies().Study(study)
				if err != nil {
					return err
				}
				return a.propose(v, d, out)
			})
		},
	}
	f.target4(c)
	f.window(c)
	f.plan(c)
	out.flags(c, true)
	return c
}

func (a levelCommands) propose(v desk.View, d desk.Studied, out output) error {
	if out.draws() {
		// Without candidates the picture has the readings alone.
		proposed, err := d.Proposed(level.Free)
		if err != nil {
			proposed, _ = d.Proposed(level.LogNormal)
		}
		if err := a.draw(out, figure.Baseline(d.Samples, d.Derivation, proposed), v.Now().Time()); err != nil {
			return err
		}
	}
	if a.json {
		return a.printJSON(desk.Grounds{From: d.From, To: d.To, Derivation: &d.Derivation, Excluded: desk.Tally(d.Derivation)})
	}
	var rows [][]string
	for _, p := range []struct {
		name string
		level.Percentile
	}{{"alert", d.Alert}, {"action", d.Action}} {
		for _, x := range p.Candidates {
			row := []string{p.name, percentOf(p.Of), string(x.Method)}
			if x.Refused != "" {
				rows = append(rows, append(row, "", "", "", "", "refused: "+x.Refused))
				continue
			}
			interval := ""
			if x.Interval != nil {
				interval = fmt.Sprintf("%.0f–%.0f", float64(x.Interval.Lo), float64(x.Interval.Hi))
			}
			rows = append(
				rows,
				append(
					row,
					fmt.Sprintf("%.0f", float64(x.Estimate)),
					interval,
					fmt.Sprintf("%.0f", float64(x.Upper)),
					x.Level.String(),
					fmt.Sprintf("confidence %.1f %%", 100*float64(x.Achieved)),
				),
			)
		}
	}
	if err := a.printRows(
		out,
		[]string{"level", "percentile", "method", "estimate", percentOfConfidence(d.Plan.Confidence) + " interval", "upper bound", "level RLU", ""},
		rows,
	); err != nil ||
		out.csv {
		return err
	}
	b := d.Baseline
	fmt.Fprintf(a.Out, "\n%d of %d readings count, of %d scopes, from %s to %s; lowest %d, median %s, highest %d RLU\n",
		b.Counted, b.Given, b.Scopes, moment(v, b.First), moment(v, b.Last), b.Lowest, b.Median, b.Highest)
	tally := desk.Tally(d.Derivation)
	for _, why := range slices.Sorted(maps.Keys(tally)) {
		fmt.Fprintf(a.Out, "  left out: %d, %s\n", tally[why], why)
	}
	fmt.Fprintf(a.Out, "readings as one text: SHA-256 %s\n", b.Digest)
	for _, w := range d.Warnings {
		fmt.Fprintf(a.Out, "! %s\n", w)
	}
	a.printCaution()
	return nil
}

func percentOf(p stats.Probability) string {
	return strconv.FormatFloat(math.Round(p.Float()*1e6)/1e4, 'f', -1, 64) + " %"
}

func percentOfConfidence(c stats.Confidence) string {
	return strconv.FormatFloat(math.Round(c.Float()*1e6)/1e4, 'f', -1, 64) + " %"
}

// levelFlags are the two limits of a level that is asked about.
type levelFlags struct {
	targetFlags
	alert, action float64
	cv            float64
}

func (f *levelFlags) limits(c *cobra.Command) {
	c.Flags().Float64Var(&f.alert, "alert", 0, "alert level in RLU; 0 for none")
	c.Flags().Float64Var(&f.action, "action", 0, "action level in RLU")
	c.Flags().StringVar(&f.comparison, "comparison", string(reading.AtOrOver), "when a value is over the action level: over or at-or-over")
	c.Flags().Float64Var(&f.cv, "cv", 0, "coefficient of variation of single readings near the level, as a fraction; 0 when not known")
	must(c.MarkFlagRequired("action"))
}

func (f *levelFlags) level() (reading.Level, error) {
	t, err := f.read()
	if err != nil {
		return reading.Level{}, err
	}
	l := reading.Level{
		System: t.System, Kit: t.Kit, Point: t.Point, Kind: t.Kind, Analyte: reading.ATP, Unit: reading.RLU,
		Alert: unit.Number(f.alert), Action: unit.Number(f.action), Comparison: reading.Comparison(f.comparison), CV: unit.Number(f.cv),
		Source: "proposed", Edition: "proposed", Adopter: "proposed", Adopted: 1,
	}
	if err := l.Check(); err != nil {
		return l, usageError{err}
	}
	return l, nil
}

// cultures reads a file of cultures; no name gives none.
func cultures(name string) (all []desk.Culture, err error) {
	err = readTable(name, desk.CultureColumns(), func(t *table.Table) (err error) {
		all, err = desk.ReadCultures(t)
		return err
	})
	return all, err
}

func (a levelCommands) levelJudgeCommand() *cobra.Command {
	var f levelFlags
	var out output
	var file, prevalence, confidence string
	c := &cobra.Command{
		Use: "judge", Short: "Say how well readings and a level tell culture-positive scopes from others",
		Long: `Say how well readings and a level tell culture-positive scopes from others: area under
the receiver operating characteristic, the best cut, sensitivity, specificity and, with
--prevalence, predictive values, each with an interval. The file of cultures has the
columns scope, taken, positive; each culture is linked to the last sampled cycle of
its scope before it.

Published studies mostly find that ATP does not predict culture (areas under 0.6); where
the interval here contains 0.5 the answer says so.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := f.level()
			if err != nil {
				return err
			}
			sure, err := stats.ParseConfidence(confidence)
			if err != nil {
				return usageError{err}
			}
			var share stats.Probability
			if prevalence != "" {
				if share, err = stats.ParseProbability(prevalence); err != nil {
					return usageError{err}
				}
			}
			list, err := cultures(file)
			if err != nil {
				return err
			}
			return a.view(c, func(v desk.View) error {
				from, to, err := window(v, f.from, f.to)
				if err != nil {
					return err
				}
				past, err := v.Studies().Past(from, to, 0, nil)
				if err != nil {
					return err
				}
				pairs, unlinked := past.Pairs(f.target, list)
				r, err := desk.Discriminate(pairs, l, sure, share)
				if err != nil {
					return err
				}
				if out.draws() {
					picture, err := figure.Discrimination(pairs, r)
					if err != nil {
						return err
					}
					if err := a.draw(out, picture, v.Now().Time()); err != nil {
						return err
					}
				}
				if a.json {
					return a.printJSON(map[string]any{"reference": r, "unlinked": unlinked})
				}
				return a.judge(r, unlinked, out)
			})
		},
	}
	f.target4(c)
	f.window(c)
	f.limits(c)
	out.flags(c, true)
	c.Flags().StringVar(&file, "cultures", "", "CSV file of cultures: scope, taken, positive")
	must(c.MarkFlagRequired("cultures"))
	c.Flags().StringVar(&prevalence, "prevalence", "", "share of positive scopes in the facility, such as 0.05")
	c.Flags().StringVar(&confidence, "confidence", "0.95", "confidence of the intervals")
	return c
}

func (a levelCommands) judge(r level.Reference, unlinked int, out output) error {
	at := r.AtLevel
	cell := func(f level.Figure) []string {
		return []string{fmt.Sprintf("%.3f", float64(f.Value)), fmt.Sprintf("%.3f–%.3f", float64(f.Interval.Lo), float64(f.Interval.Hi))}
	}
	rows := [][]string{append([]string{"area under the curve"}, cell(r.Area)...)}
	rows = append(rows,
		append([]string{fmt.Sprintf("sensitivity of action level %s (%d of %d)", at.Action, at.Counts.TruePositive, r.Positives)}, cell(at.Sensitivity)...),
		append([]string{fmt.Sprintf("specificity of action level %s (%d of %d)", at.Action, at.Counts.TrueNegative, r.Negatives)}, cell(at.Specificity)...))
	if at.Positive != nil {
		rows = append(rows,
			append([]string{"positive predictive value at prevalence " + at.Prevalence.String()}, cell(*at.Positive)...),
			append([]string{"negative predictive value at prevalence " + at.Prevalence.String()}, cell(*at.Negative)...))
	}
	if r.Best != nil {
		rows = append(rows, append([]string{fmt.Sprintf("Youden index of the best cut, at or over %s", r.Best.Cut)}, cell(r.Best.Index)...))
	}
	if err := a.printRows(out, []string{"", "value", percentOfConfidence(r.Confidence) + " interval"}, rows); err != nil || out.csv {
		return err
	}
	fmt.Fprintf(a.Out, "\n%s\n", r.Sentence)
	for _, w := range r.Warnings {
		fmt.Fprintf(a.Out, "! %s\n", w)
	}
	if unlinked > 0 {
		fmt.Fprintf(a.Out, "! %d cultures have no reading of this kind before them and do not count\n", unlinked)
	}
	a.printCaution()
	return nil
}

func (a levelCommands) levelCurveCommand() *cobra.Command {
	var f levelFlags
	var out output
	var points, tries []int
	var spread, shared float64
	var costs costFlags
	c := &cobra.Command{
		Use: "curve", Short: "Show what a level does to scopes of known cleanliness (operating characteristic)",
		Long: `Show, for scopes of a known true median, the probability that a level has them cleaned
again and put on hold after the last cleaning, by number of points and of cleanings. --spread is the standard deviation of
ln RLU of single samples; without it that of the stored readings is taken, which includes
differences between scopes. --shared is that between cleanings, common to all points.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := f.level()
			if err != nil {
				return err
			}
			return a.view(c, func(v desk.View) error {
				source := ""
				if spread == 0 {
					from, to, err := window(v, f.from, f.to)
					if err != nil {
						return err
					}
					samples, err := v.Studies().Baseline(f.target, from, to, nil)
					if err != nil {
						return err
					}
					var n int
					if spread, n = desk.SpreadOf(samples); spread == 0 {
						return &fault.Error{
							Code:    fault.Invalid,
							Message: fmt.Sprintf("%d readings of %s do not show how they spread", n, f.target),
							Hint:    "give it with --spread",
						}
					}
					source = fmt.Sprintf("spread %.2f of ln RLU from %d stored readings, differences between scopes included", spread, n)
				}
				o := desk.Operating{Level: l, Points: points, Cleanings: tries, Spread: spread, Shared: shared, Retest: reading.AllPoints, Costs: costs.costs()}
				return a.curve(v, o, source, out)
			})
		},
	}
	f.target4(c)
	f.window(c)
	f.limits(c)
	out.flags(c, true)
	costs.flags(c)
	c.Flags().IntSliceVar(&points, "points", []int{1, 3, 4}, "numbers of points in a cleaning verification")
	c.Flags().IntSliceVar(&tries, "cleanings", []int{1, 3}, "numbers of cleanings at most")
	c.Flags().Float64Var(&spread, "spread", 0, "standard deviation of ln RLU of single samples (default: that of the stored readings)")
	c.Flags().Float64Var(&shared, "shared", 0, "standard deviation of ln RLU between cleanings, common to all points")
	return c
}

// costFlags are what a replay and a curve count with.
type costFlags struct{ sample, cleaning float64 }

func (f *costFlags) flags(c *cobra.Command) {
	c.Flags().Float64Var(&f.sample, "sample-minutes", 8, "what taking and reading one sample costs, in minutes (a published time for one gastroscope)")
	c.Flags().Float64Var(&f.cleaning, "cleaning-minutes", 16, "what one more cleaning costs, in minutes (a published time for one gastroscope)")
}

func (f costFlags) costs() desk.Costs {
	return desk.Costs{SampleMinutes: f.sample, CleaningMinutes: f.cleaning}
}

func (a levelCommands) curve(v desk.View, o desk.Operating, source string, out output) error {
	lines, err := o.Lines()
	if err != nil {
		return err
	}
	if out.draws() {
		curves, err := figure.OperatingCurves(o, "", float64(o.Level.Action))
		if err != nil {
			return err
		}
		title := fmt.Sprintf("What an action level of %s RLU does", o.Level.Action)
		desc := fmt.Sprintf("Single samples vary with a standard deviation of %.2f of ln RLU, cleanings with %.2f.", o.Spread, o.Shared)
		if err := a.draw(out, figure.Operation(title, desc, curves, o.Level), v.Now().Time()); err != nil {
			return err
		}
	}
	if a.json {
		return a.printJSON(lines)
	}
	rows := make([][]string, len(lines))
	for i, n := range lines {
		rows[i] = []string{
			strconv.Itoa(n.Points), strconv.Itoa(n.Cleanings), fmt.Sprintf("%.0f", n.Median), percent(n.Over), percent(n.Alert), percent(n.Hold),
			fmt.Sprintf("%.2f", n.Operation.Cleanings), fmt.Sprintf("%.1f", n.Samples), fmt.Sprintf("%.0f", n.Minutes),
		}
	}
	if err := a.printRows(
		out,
		[]string{"points", "cleanings at most", "true median RLU", "cleaned again", "alert", "on hold at last", "cleanings", "samples", "minutes"},
		rows,
	); err != nil ||
		out.csv {
		return err
	}
	if source != "" {
		fmt.Fprintf(a.Out, "\n%s\n", source)
	}
	a.printCaution()
	return nil
}

func (a levelCommands) levelReplayCommand() *cobra.Command {
	var f levelFlags
	var out output
	var costs costFlags
	var file string
	var most int
	c := &cobra.Command{
		Use: "replay", Short: "Run a proposed level over the stored past and compare it with today's",
		Long: `Run a proposed level over the stored past, all other levels as they are today, and
compare: cleaning verifications over the action level, cleanings, holds, kits, minutes
and, with a file of cultures, culture-positive cycles caught and missed. After a
verification that passed in the past no further cleaning is on record; where the proposed
level would have asked for one, its result is counted as unknown and not guessed.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := f.level()
			if err != nil {
				return err
			}
			list, err := cultures(file)
			if err != nil {
				return err
			}
			return a.view(c, func(v desk.View) error {
				from, to, err := window(v, f.from, f.to)
				if err != nil {
					return err
				}
				past, err := v.Studies().Past(from, to, costs.sample, list)
				if err != nil {
					return err
				}
				if len(past.Rows) == 0 {
					return noReadings(f.target, v, from, to)
				}
				counted := costs.costs()
				counted.MostChanges = most
				r, err := v.Studies().Replay(past, l, counted)
				if err != nil {
					return err
				}
				return a.replay(v, r, past, out)
			})
		},
	}
	f.target4(c)
	f.window(c)
	f.limits(c)
	costs.flags(c)
	out.flags(c, false)
	c.Flags().StringVar(&file, "cultures", "", "CSV file of cultures: scope, taken, positive")
	c.Flags().IntVar(&most, "changes", 10, "list at most so many cleaning verifications whose outcome differs")
	return c
}

func (a levelCommands) replay(v desk.View, r level.Replay, past desk.Past, out output) error {
	if a.json {
		return a.printJSON(map[string]any{
			"today": r.Today, "proposed": r.Proposed, "kinds": r.Kinds, "changed": r.Changed, "changes": past.Changed(r), "cultures_unlinked": past.Unlinked,
		})
	}
	var rows [][]string
	add := func(kind, which string, t level.Tally) {
		rows = append(rows, []string{
			kind, which, strconv.Itoa(t.Cycles), strconv.Itoa(t.Verifications), strconv.Itoa(t.Over), strconv.Itoa(t.Recleans), strconv.Itoa(t.Unknown),
			strconv.Itoa(t.Holds), strconv.Itoa(t.Alerts), strconv.Itoa(t.Kits), fmt.Sprintf("%.0f", t.Minutes), strconv.Itoa(t.Caught), strconv.Itoa(t.Missed),
		})
	}
	for _, k := range r.Kinds {
		add(string(k.Kind), "today", k.Today)
		add("", "proposed", k.Proposed)
	}
	add("all", "today", r.Today)
	add("", "proposed", r.Proposed)
	header := []string{
		"kind",
		"level",
		"cycles",
		"verifications",
		"over",
		"cleaned again",
		"result unknown",
		"on hold at last",
		"alert",
		"kits",
		"minutes",
		"cultures caught",
		"missed",
	}
	if err := a.printRows(out, header, rows); err != nil || out.csv {
		return err
	}
	fmt.Fprintf(a.Out, "\n%d cleaning verifications would have another outcome\n", r.Changed)
	changes := make([][]string, len(r.Changes))
	for i, c := range past.Changed(r) {
		changes[i] = []string{c.Scope, moment(v, c.First), reading.Test(c.Cleaning), c.Today.Brief(), c.Then.Brief()}
	}
	a.printTable([]string{"scope", "cycle sampled at", "test", "today", "proposed"}, changes)
	if r.Proposed.Unknown > 0 {
		fmt.Fprintf(a.Out, "\n! %d cleanings would have been asked for whose result nobody knows: kits and minutes are lower bounds\n", r.Proposed.Unknown)
	}
	if past.Unlinked > 0 {
		fmt.Fprintf(a.Out, "! %d cultures have no sampled cycle before them\n", past.Unlinked)
	}
	a.printCaution()
	return nil
}

func (a levelCommands) levelAdoptCommand() *cobra.Command {
	var f levelFlags
	var plan targetFlags
	var who actor
	var costs costFlags
	var source, editionName, method, file, note, adopted, second string
	c := &cobra.Command{
		Use: "adopt", Short: "Put a level in force, with its derivation and replay attached",
		Long: `Put an alert and an action level in force from now on, or from --at. The derivation from
the facility's readings (as by "level propose" with the same flags), the replay over the
same time and, with a file of cultures, the judgement by them are computed anew and become
part of the record. Earlier decisions keep the level that made them, and nothing that was
read before is judged by it. A level that asks for less than the one in force, or is more
than ten times as high as the largest published one, takes a second person.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			l, err := f.level()
			if err != nil {
				return err
			}
			plan.target, plan.point, plan.kind, plan.from, plan.to, plan.comparison = f.target, f.point, f.kind, f.from, f.to, f.comparison
			if method != "" && !slices.Contains(level.Methods, level.Method(method)) {
				return usageError{fmt.Errorf("--method %q: allowed: %s", method, scope.Words(level.Methods))}
			}
			list, err := cultures(file)
			if err != nil {
				return err
			}
			e, err := who.entry()
			if err != nil {
				return err
			}
			l.Source, l.Edition, l.Adopter, l.Second = source, editionName, who.by, second
			var replay level.Replay
			err = a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				if l.Adopted, err = instant(adopted, w.Zone(), w.Now()); err != nil {
					return desk.Receipt{}, err
				}
				study, err := plan.study(w.View)
				if err != nil {
					return desk.Receipt{}, err
				}
				g, err := w.Studies().Grounds(l, study, costs.costs(), list)
				if err != nil {
					return desk.Receipt{}, err
				}
				g.Method, g.Note = level.Method(method), note
				replay = *g.Replay
				return w.OnSignals().AdoptDerived(e, l, g)
			}, "adopted for %s: alert %s, action %s RLU", f.target, l.Alert, l.Action)
			if err == nil && !a.json {
				fmt.Fprintf(
					a.Out,
					"in the past %d cleaning verifications would have been over this level, %d are over today's\n",
					replay.Proposed.Over,
					replay.Today.Over,
				)
			}
			return err
		},
	}
	f.target4(c)
	f.window(c)
	f.limits(c)
	costs.flags(c)
	who.flags(c, desk.ToAdoptDerived, true)
	usual := level.Usual(level.Target{})
	plan.alert, plan.action, plan.confidence, plan.take, plan.seed = usual.Alert.String(), usual.Action.String(), usual.Confidence.String(), string(
		usual.Take,
	), usual.Seed
	c.Flags().StringVar(&plan.alert, "alert-percentile", plan.alert, "as for level propose")
	c.Flags().StringVar(&plan.action, "action-percentile", plan.action, "as for level propose")
	c.Flags().StringVar(&plan.confidence, "confidence", plan.confidence, "as for level propose")
	c.Flags().StringVar(&plan.take, "take", plan.take, "as for level propose")
	c.Flags().IntVar(&plan.detection, "detection-limit", 0, "as for level propose")
	c.Flags().IntVar(&plan.outliers, "outliers", 0, "as for level propose")
	c.Flags().StringArrayVar(&plan.exclude, "exclude", nil, "as for level propose")
	c.Flags().StringVar(&source, "source", "facility's own baseline", "where the level comes from")
	c.Flags().StringVar(&editionName, "edition", "", "the facility's name of this edition, such as 2026-2")
	must(c.MarkFlagRequired("edition"))
	c.Flags().StringVar(&method, "method", "", "the method whose candidate is adopted: "+scope.Words(level.Methods))
	c.Flags().StringVar(&file, "cultures", "", "CSV file of cultures: scope, taken, positive")
	c.Flags().StringVar(&note, "note", "", "why this level, in words")
	c.Flags().StringVar(&adopted, "at", "", "from when on it judges, from now on at the earliest (default now)")
	c.Flags().StringVar(&second, "second", "", "code of a second person, for a level far over what is published")
	return c
}
