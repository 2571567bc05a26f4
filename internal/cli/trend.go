package cli

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
)

// numberCommands are those that say what the numbers show: trends, signals, failures, sources of variation.
type numberCommands struct{ *app }

// watchFlags are how series are watched.
type watchFlags struct {
	falseSignals   float64
	charts         []string
	rules          []int
	lambda, k, fir float64
	system, kit    string
}

func (f *watchFlags) flags(c *cobra.Command) {
	c.Flags().Float64Var(&f.falseSignals, "false-signals", 1, "false signals to expect in a month over all series, where limits are not adopted yet")
	c.Flags().StringSliceVar(&f.charts, "charts", []string{"individuals", "ewma", "cusum"}, "charts: individuals, moving-range, ewma, cusum")
	c.Flags().IntSliceVar(&f.rules, "rules", nil, "run rules to switch on, 1 to 8; they are taken off the false signals first")
	c.Flags().Float64Var(&f.lambda, "lambda", 0, "weight of the latest reading in the EWMA chart (default 0.2)")
	c.Flags().Float64Var(&f.k, "k", 0, "reference value of the CUSUM chart in standard deviations (default 0.5)")
	c.Flags().Float64Var(&f.fir, "head-start", 0, "head start of the CUSUM chart as a part of its limit, 0 to 0.5")
}

func (f *watchFlags) watching() (desk.Watching, error) {
	w := desk.Watching{FalseSignals: unit.Number(f.falseSignals), Lambda: unit.Number(f.lambda), K: unit.Number(f.k), HeadStart: unit.Number(f.fir)}
	if !(f.falseSignals > 0) {
		return w, usageError{fmt.Errorf("--false-signals %v: give a number over 0, such as 1 for one a month", f.falseSignals)}
	}
	for _, name := range f.charts {
		switch {
		case w.Charts.Switch(trend.ChartName(name)):
		case trend.ChartName(name) == trend.RuleChart:
			return w, usageError{fmt.Errorf("--charts %s: run rules are switched on with --rules", name)}
		default:
			return w, usageError{fmt.Errorf("--charts %s: allowed: individuals, moving-range, ewma, cusum", name)}
		}
	}
	var rules []trend.Rule
	for _, n := range f.rules {
		if !slices.Contains(trend.AllRules, trend.Rule(n)) {
			return w, usageError{fmt.Errorf("--rules %d: allowed: 1 to 8", n)}
		}
		rules = append(rules, trend.Rule(n))
	}
	w.Charts.Rules.On = trend.RulesOf(rules...)
	return w, nil
}

// seriesOf returns the series of one scope, or of all.
func seriesOf(v desk.View, at unit.Instant, w desk.Watching, tag, point, system, kit string) ([]desk.Series, error) {
	list, err := v.Numbers().AllSeries(at, w)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(list, func(s desk.Series) bool {
		is := func(wanted, got string) bool { return wanted == "" || wanted == got }
		return !is(tag, s.Key.Scope) || !is(point, string(s.Key.Point)) || !is(system, s.Key.System) || !is(kit, s.Key.Kit)
	}), nil
}

func (a numberCommands) trendCommand() *cobra.Command {
	var f watchFlags
	var out output
	var at, point, view string
	var last int
	c := &cobra.Command{
		Use: "trend TAG", Short: "Show how the readings of a scope have moved, point by point, and what the charts say",
		Long: `Show how the readings of a scope have moved since their baseline, for each of its
points, and what the control charts make of it. With --point the readings themselves
are listed and can be drawn (--svg, --pdf).

A series is one scope at one point on one meter system with one kit; only the first
reading after the first cleaning of a cycle is part of it. Readings are held
against the adopted baseline (rinsate limits adopt); where there is none, against a
provisional one from the first 20 to 30 readings since the last repair or change.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			w, err := f.watching()
			if err != nil {
				return err
			}
			if !slices.Contains(figure.Views, figure.View(view)) {
				return usageError{fmt.Errorf("--chart %s: allowed: %s", view, scope.Words(figure.Views))}
			}
			if point == "" && (out.draws() || last > 0) {
				return usageError{fmt.Errorf("name the point whose readings are wanted: --point POINT\nhint: rinsate trend %s lists the points", args[0])}
			}
			return a.view(c, func(v desk.View) error {
				when, err := instant(at, v.Zone(), v.Now())
				if err != nil {
					return err
				}
				if err := known(v, args[0]); err != nil {
					return err
				}
				list, err := seriesOf(v, when, w, args[0], point, f.system, f.kit)
				if err != nil {
					return err
				}
				if len(list) == 0 {
					return noSeries(args[0], point)
				}
				if point != "" {
					if len(list) > 1 {
						return usageError{
							fmt.Errorf("%s of %s has readings on several scales: choose with --system and --kit\n%s", point, args[0], scales(list)),
						}
					}
					return a.series(v, list[0], figure.View(view), out, last)
				}
				return a.allSeries(v, list, out)
			})
		},
	}
	f.flags(c)
	out.flags(c, true)
	c.Flags().StringVar(&at, "at", "", "the instant asked about (default now)")
	c.Flags().StringVar(&point, "point", "", "one point: "+scope.Words(scope.PointKinds))
	c.Flags().StringVar(&f.system, "system", "", "one meter system")
	c.Flags().StringVar(&f.kit, "kit", "", "one kit")
	c.Flags().StringVar(&view, "chart", string(figure.Single), "chart to show: "+scope.Words(figure.Views))
	c.Flags().IntVar(&last, "last", 0, "list the last so many readings (default 30)")
	return c
}

// known refuses a scope that is not registered.
func known(v desk.View, tag string) error {
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(fleet, func(i scope.Instrument) bool { return i.Tag == tag }) {
		return &fault.Error{Code: fault.NotFound, Message: fmt.Sprintf("scope %q is not registered", tag), Hint: "see the fleet with: rinsate fleet"}
	}
	return nil
}

func noSeries(tag, point string) error {
	what := tag
	if point != "" {
		what = fmt.Sprintf("%s of %s", point, tag)
	}
	return &fault.Error{
		Code:    fault.NotFound,
		Message: fmt.Sprintf("%s has no reading that counts", what),
		Hint:    "see what is on record with: rinsate history " + tag,
	}
}

func scales(list []desk.Series) string {
	var lines []string
	for _, s := range list {
		lines = append(lines, fmt.Sprintf("  --system %q --kit %q", s.Key.System, s.Key.Kit))
	}
	return strings.Join(lines, "\n")
}

// sparkWidth is how many readings a line of blocks shows.
const sparkWidth = 32

// spark shows the last readings of a series on its log scale.
func spark(s desk.Series) string {
	points := s.Points[max(0, len(s.Points)-sparkWidth):]
	values := make([]float64, len(points))
	for i, p := range points {
		values[i] = trend.LogRLU(p.Value)
	}
	lo, hi := math.NaN(), math.NaN()
	if s.Baseline != nil { // three standard deviations either side, so that lines can be compared
		lo, hi = float64(s.Baseline.Mean-3*s.Baseline.Sigma), float64(s.Baseline.Mean+3*s.Baseline.Sigma)
	}
	return chart.SparkText(values, lo, hi)
}

// standing says in a few words how a series stands.
func (t spoken) standing(s desk.Series) string {
	if s.Baseline == nil {
		return "? " + s.Why
	}
	shape, word := figure.Standing(t.Terms, s)
	return shape + " " + word
}

func (t spoken) direction(d trend.Direction) string {
	m := t.Direction(d)
	return m.Shape + " " + m.Word
}

// jsonSeries is a series as a contract.
type jsonSeries struct {
	desk.Series
	Readings int            `json:"readings"`
	Last     []jsonPoint    `json:"last,omitempty"`
	Signals  []trend.Signal `json:"signals"`
}

type jsonPoint struct {
	ID    ledger.ID    `json:"id"`
	At    unit.Instant `json:"at"`
	Value unit.Number  `json:"value"`
	// Z, EWMA, Up and Down are in standard deviations; absent within the baseline.
	Z      *unit.Number `json:"z,omitempty"`
	EWMA   *unit.Number `json:"ewma,omitempty"`
	Up     *unit.Number `json:"cusum_up,omitempty"`
	Down   *unit.Number `json:"cusum_down,omitempty"`
	Signal bool         `json:"signal,omitempty"`
}

func (a numberCommands) allSeries(v desk.View, list []desk.Series, out output) error {
	if a.json {
		all := make([]jsonSeries, len(list))
		for i, s := range list {
			all[i] = jsonSeries{Series: s, Readings: len(s.Points), Signals: orEmpty(s.Watched.Signals)}
		}
		return a.printJSON(all)
	}
	rows := make([][]string, len(list))
	for i, s := range list {
		centre := ""
		if s.Baseline != nil {
			centre = fmt.Sprintf("%.0f", s.Baseline.RLU())
		}
		last := s.Points[len(s.Points)-1]
		since := ""
		if n := len(s.Watched.Signals); n > 0 && s.Watched.Signals[n-1].Since != nil {
			since = moment(v, s.Watched.Signals[n-1].Since.At)
		}
		rows[i] = []string{
			string(s.Key.Point), s.Key.System + ", " + s.Key.Kit, strconv.Itoa(len(s.Points)), figure.BaselineWord(s.Baseline, s.Provisional), centre,
			unit.Number(last.Value).String(), moment(v, last.At), spark(s), a.terms.standing(s), since,
		}
	}
	if err := a.printRows(
		out,
		[]string{"point", "scale", "n", "baseline", "centre RLU", "last RLU", "at", "last readings", "charts", "since about"},
		rows,
	); err != nil ||
		out.csv {
		return err
	}
	for _, s := range list {
		if n := len(s.Watched.Signals); n > 0 && s.Watched.Signals[n-1].Open {
			fmt.Fprintf(a.Out, "\n%s: %s\n", s.Key.Point, figure.SignalWords(s.Watched.Signals[n-1], v.Zone()))
		}
	}
	a.printCaution()
	return nil
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

const usualLast = 30

func (a numberCommands) series(v desk.View, s desk.Series, view figure.View, out output, last int) error {
	if last <= 0 {
		last = usualLast
	}
	points := numbered(s)
	points = points[max(0, len(points)-last):]
	switch {
	case a.json:
		if err := a.printJSON(jsonSeries{Series: s, Readings: len(s.Points), Last: points, Signals: orEmpty(s.Watched.Signals)}); err != nil {
			return err
		}
	default:
		rows := make([][]string, len(points))
		for i, p := range points {
			mark := ""
			if p.Signal {
				mark = "▲ signal"
			}
			rows[i] = []string{p.At.In(v.Zone()), p.Value.String(), fixed(p.Z), fixed(p.EWMA), fixed(p.Up), fixed(p.Down), mark, short(string(p.ID))}
		}
		if err := a.printRows(out, []string{"at", "RLU", "z", "EWMA", "CUSUM up", "down", "", "record"}, rows); err != nil {
			return err
		}
		if !out.csv {
			a.describeSeries(v, s)
		}
	}
	if !out.draws() {
		return nil
	}
	levels, err := v.Registry().LevelsFor(s.Key, s.Kind, v.Now())
	if err != nil {
		return err
	}
	return a.draw(out, figure.Control(s, view, levels, v.Zone(), figure.Places{}), v.Now().Time())
}

func fixed(x *unit.Number) string {
	if x == nil {
		return ""
	}
	return fmt.Sprintf("%.2f", float64(*x))
}

// numbered returns the readings of a series with what the charts made of each.
func numbered(s desk.Series) []jsonPoint {
	points := make([]jsonPoint, len(s.Points))
	for i, n := range s.Numbered() {
		points[i] = jsonPoint{ID: n.ID, At: n.At, Value: unit.Number(n.Value)}
		if !n.Counted {
			continue
		}
		x, number := &points[i], func(v float64) *unit.Number { n := unit.Number(v); return &n }
		x.Z, x.EWMA, x.Up, x.Down, x.Signal = number(n.Z), number(n.EWMA), number(n.Up), number(n.Down), n.Flags.Any()
	}
	return points
}

func (a numberCommands) describeSeries(v desk.View, s desk.Series) {
	fmt.Fprintf(a.Out, "\n%s\n", spark(s))
	if s.Baseline == nil {
		fmt.Fprintf(a.Out, "%s\n", s.Why)
		a.printCaution()
		return
	}
	b := s.Baseline
	fmt.Fprintf(a.Out, "baseline (%s): %d readings from %s to %s, centre %.0f RLU, standard deviation %.3f of log10\n",
		figure.BaselineWord(s.Baseline, s.Provisional), b.N, b.First.In(v.Zone()), b.Last.In(v.Zone()), b.RLU(), float64(b.Sigma))
	for _, x := range b.Screened {
		fmt.Fprintf(a.Out, "  left out as an outlier: %s RLU at %s (%s)\n", x.Value, x.At.In(v.Zone()), short(string(x.ID)))
	}
	for _, n := range b.Notes {
		fmt.Fprintf(a.Out, "  note: %s\n", n.Words)
	}
	for _, share := range s.Design.Shares {
		fmt.Fprintf(a.Out, "  %s\n", figure.ShareWords(share))
	}
	for _, br := range s.Breaks {
		fmt.Fprintf(a.Out, "  break at %s: %s\n", br.At.In(v.Zone()), br.Reason)
	}
	for _, signal := range s.Watched.Signals {
		open := ""
		if signal.Open {
			open = " (open)"
		}
		fmt.Fprintf(a.Out, "%s%s at %s: %s\n", a.terms.direction(signal.Direction), open, signal.First.At.In(v.Zone()), figure.SignalWords(signal, v.Zone()))
	}
	a.printCaution()
}

func (a numberCommands) signalsCommand() *cobra.Command {
	var f watchFlags
	var out output
	var at, since string
	var q float64
	c := &cobra.Command{
		Use: "signals", Short: "List the series whose readings have moved, since when, and what came with it",
		Long: `List the series of all scopes whose readings have moved from their baseline: which
way, since when (the start of the change with an interval of 95 %), which charts say
so, and which lot, meter or person came together with the change. Below it stand the
series whose latest readings are higher than their baseline when all series are
looked at together, with the share of false ones among them bounded (--q).

What people did about each signal is shown as its state; see rinsate signal --help. One
that somebody acted on and that no longer shows is listed too.

A signal is a reason to look, not a verdict on a scope or a person.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			w, err := f.watching()
			if err != nil {
				return err
			}
			if !(q > 0 && q < 1) {
				return usageError{fmt.Errorf("--q %v: give a share over 0 and below 1, such as 0.1", q)}
			}
			return a.view(c, func(v desk.View) error {
				when, err := instant(at, v.Zone(), v.Now())
				if err != nil {
					return err
				}
				from, err := instant(since, v.Zone(), when.AddDays(-30, v.Zone()))
				if err != nil {
					return err
				}
				list, err := v.Numbers().AllSeries(when, w)
				if err != nil {
					return err
				}
				rises, err := desk.Rises(list, q)
				if err != nil {
					return err
				}
				raised, err := v.Numbers().Raised(desk.Signals(list, 0))
				if err != nil {
					return err
				}
				raised = slices.DeleteFunc(raised, func(r desk.Raised) bool {
					return r.Signal != nil && r.Signal.Last < from || r.Signal == nil && r.Signalled < from || r.Signalled > when
				})
				return a.signals(v, list, raised, rises, out, q)
			})
		},
	}
	f.flags(c)
	out.flags(c, false)
	c.Flags().StringVar(&at, "at", "", "the instant asked about (default now)")
	c.Flags().StringVar(&since, "since", "", "signals that last showed at or after this instant (default 30 days back)")
	c.Flags().Float64Var(&q, "q", 0.1, "the expected share of false ones among the series found to be higher")
	return c
}

func (a numberCommands) signals(v desk.View, list []desk.Series, raised []desk.Raised, rises []trend.Ranked, out output, q float64) error {
	watched, waiting, provisional := 0, 0, 0
	for _, s := range list {
		switch {
		case s.Baseline == nil:
			waiting++
		case s.Provisional:
			provisional++
		default:
			watched++
		}
	}
	if a.json {
		return a.printJSON(map[string]any{
			"signals": signalsJSON(
				raised,
			),
			"rises":                   rises,
			"q":                       q,
			"series_adopted":          watched,
			"series_provisional":      provisional,
			"series_without_baseline": waiting,
		})
	}
	rows := make([][]string, len(raised))
	for i, r := range raised {
		rows[i] = a.terms.signalCells(v, r)
	}
	if err := a.printRows(
		out,
		[]string{"signal", "scope", "point", "readings", "", "state", "first shown", "since about", "95 % interval", "RLU", "charts", "came with", "others"},
		rows,
	); err != nil ||
		out.csv {
		return err
	}
	found := slices.DeleteFunc(slices.Clone(rises), func(r trend.Ranked) bool { return !r.Found })
	a.heading("Higher than their baseline, all series together (at most %s %% of them by chance)", unit.Number(math.Round(100*q)))
	rows = make([][]string, len(found))
	for i, r := range found {
		rows[i] = []string{
			r.Key.Scope,
			string(r.Key.Point),
			strconv.Itoa(r.Readings),
			fmt.Sprintf("%+.1f", float64(r.Shift)),
			fmt.Sprintf("%.2g", float64(r.Adjusted)),
		}
	}
	a.printTable([]string{"scope", "point", "last readings", "shift in sd", "adjusted p"}, rows)
	fmt.Fprintf(a.Out, "\n%d series have adopted limits, %d provisional ones, %d too few readings\n", watched, provisional, waiting)
	a.printCaution()
	return nil
}

func (a numberCommands) limitsCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "limits", Short: "Show or adopt the baselines and limits that readings are held against",
		Args: cobra.NoArgs,
	}
	c.AddCommand(a.limitsShowCommand(), a.limitsAdoptCommand())
	return c
}

func (a numberCommands) limitsShowCommand() *cobra.Command {
	var f watchFlags
	var out output
	c := &cobra.Command{
		Use: "show", Short: "Show the baseline and the limits of every series", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			w, err := f.watching()
			if err != nil {
				return err
			}
			return a.view(c, func(v desk.View) error {
				list, err := v.Numbers().AllSeries(v.Now(), w)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(orEmpty(list))
				}
				rows := make([][]string, len(list))
				for i, s := range list {
					rows[i] = []string{s.Key.Scope, string(s.Key.Point), s.Key.System + ", " + s.Key.Kit, figure.BaselineWord(s.Baseline, s.Provisional)}
					rows[i] = append(rows[i], limitCells(s.Baseline, s.Design, s.Why, short(string(s.Chart)))...)
				}
				return a.printRows(out, append([]string{"scope", "point", "scale", "baseline"}, limitHeader...), rows)
			})
		},
	}
	f.flags(c)
	out.flags(c, false)
	return c
}

var limitHeader = []string{"n", "centre RLU", "sd log10", "single RLU", "EWMA L", "CUSUM h", "record or why not"}

func limitCells(b *trend.Baseline, d *trend.Design, why, record string) []string {
	if b == nil {
		return []string{"", "", "", "", "", "", why}
	}
	cell := func(chart trend.ChartName) string {
		if s := d.Share(chart); s.Limit > 0 {
			return fmt.Sprintf("%.2f", float64(s.Limit))
		}
		return "off"
	}
	single := "off"
	if s := d.Share(trend.IndividualsChart); s.Limit > 0 {
		single = fmt.Sprintf("%.0f–%.0f", max(0, trend.RLU(float64(b.Mean-b.Sigma*s.Limit))), trend.RLU(float64(b.Mean+b.Sigma*s.Limit)))
	}
	return []string{
		strconv.Itoa(b.N), fmt.Sprintf("%.0f", b.RLU()), fmt.Sprintf("%.3f", float64(b.Sigma)), single, cell(trend.EWMAChart), cell(trend.CUSUMChart), record,
	}
}

func (a numberCommands) limitsAdoptCommand() *cobra.Command {
	var f watchFlags
	var freeze desk.Freeze
	var who actor
	var point, from, to string
	var dry bool
	c := &cobra.Command{
		Use: "adopt [TAG...]", Short: "Freeze the baselines and limits of series that have none that holds",
		Long: `Freeze the baselines and limits of all series, or of some scopes', from their readings
since the last repair, change of kit or protocol. A baseline wants 20 readings; outliers
are screened and listed in the record. Limits follow from how many false signals are to
be expected in a month over all series, with the uncertainty of the baseline counted
in. From then on readings are held against them, until a repair or a change ends them.`,
		RunE: func(c *cobra.Command, args []string) error {
			w, err := f.watching()
			if err != nil {
				return err
			}
			freeze.Watching, freeze.Point = w, scope.PointKind(point)
			freeze.Scopes = args
			return a.open(c.Context(), func(d *desk.Desk) error {
				var frozen []desk.Frozen
				act := who.doing(a.app, d)
				if dry {
					act = who.on(d).Try
				}
				err := act(c.Context(), func(w *desk.Work) (err error) {
					if freeze.From, err = instant(from, w.Zone(), 0); err != nil {
						return err
					}
					if freeze.To, err = instant(to, w.Zone(), 0); err != nil {
						return err
					}
					for _, tag := range freeze.Scopes {
						if err := known(w.View, tag); err != nil {
							return err
						}
					}
					frozen, err = w.OnSignals().AdoptCharts(desk.Entry{By: who.by}, freeze)
					return err
				})
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(orEmpty(frozen))
				}
				rows := make([][]string, len(frozen))
				for i, x := range frozen {
					rows[i] = append(
						[]string{x.Key.Scope, string(x.Key.Point), x.Key.System + ", " + x.Key.Kit},
						limitCells(x.Baseline, x.Design, x.Why, short(string(x.Chart)))...)
				}
				a.printTable(append([]string{"scope", "point", "scale"}, limitHeader...), rows)
				if dry {
					fmt.Fprintln(a.Out, "\ndry run: nothing was stored")
				}
				return nil
			})
		},
	}
	f.flags(c)
	who.named(c, desk.ToAdoptCharts, "code of the person who adopts")
	must(c.MarkFlagRequired("by"))
	c.Flags().StringVar(&point, "point", "", "one point only")
	c.Flags().StringVar(&from, "from", "", "readings from this instant on (default since the last repair or change)")
	c.Flags().StringVar(&to, "to", "", "readings up to this instant (default now)")
	c.Flags().BoolVar(&freeze.Anew, "anew", false, "also replace limits that hold")
	c.Flags().BoolVar(&freeze.Own, "own-spread", false, "keep each series's own spread, also where those of its point and scale agree")
	c.Flags().BoolVar(&dry, "dry-run", false, "show what would be adopted and store nothing")
	return c
}

func (a numberCommands) funnelCommand() *cobra.Command {
	var out output
	var by, from, to string
	var least int
	c := &cobra.Command{
		Use: "funnel", Short: "Compare people, scopes, lots or meters by how often readings were over the action level",
		Long: `Compare people, scopes, lots, meters, kinds or points by how many of their first readings
were over the action level, with the limits within which chance alone spreads them. Where
units differ by more than chance throughout (over-dispersion), the limits are widened by
the spread between units.

` + peopleCaution,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				start, end, err := window(v, from, to)
				if err != nil {
					return err
				}
				units, err := v.Numbers().Failures(desk.Grouping(by), start, end)
				if err != nil {
					return err
				}
				few := 0
				units = slices.DeleteFunc(units, func(u trend.Unit) bool {
					if u.Trials < least {
						few++
					}
					return u.Trials < least
				})
				f, err := desk.Compared(units)
				if err != nil {
					return err
				}
				return a.funnel(v, f, by, few, out)
			})
		},
	}
	out.flags(c, true)
	c.Flags().StringVar(&by, "by", string(desk.ByPerson), "what to compare: "+scope.Words(desk.Groupings))
	c.Flags().StringVar(&from, "from", "", "readings from this instant on (default 180 days back)")
	c.Flags().StringVar(&to, "to", "", "readings up to this instant (default now)")
	c.Flags().IntVar(&least, "least", 10, "leave out what has fewer readings")
	return c
}

// peopleCaution goes with every comparison of people.
const peopleCaution = `Comparisons of people are for training, not for punishment: the kind of scope that somebody
cleans matters more than who cleans it. People are shown by their codes.`

// window reads the flags of a time; without them the last half year, in whole days as the pages have it.
func window(v desk.View, from, to string) (start, end unit.Instant, err error) {
	if end, err = instant(to, v.Zone(), v.Now()+1); err != nil {
		return 0, 0, err
	}
	start, err = instant(from, v.Zone(), end.AddDays(-180, v.Zone()).Midnight(v.Zone()))
	if err == nil && start >= end {
		err = usageError{fmt.Errorf("the time from %s to %s is empty", start.In(v.Zone()), end.In(v.Zone()))}
	}
	return start, end, err
}

func (a numberCommands) funnel(v desk.View, f trend.Funnel, by string, few int, out output) error {
	if a.json {
		return a.printJSON(funnelJSON(f, by))
	}
	units := slices.Clone(f.Units)
	slices.SortStableFunc(units, func(x, y trend.FunnelUnit) int { return cmp.Compare(y.Z, x.Z) })
	rows := make([][]string, len(units))
	for i, u := range units {
		mark := "within"
		switch {
		case u.Beyond >= 2:
			mark = "▲▲ above 99.8 %"
		case u.Beyond == 1:
			mark = "▲ above 95 %"
		case u.Beyond == -1:
			mark = "▼ below 95 %"
		case u.Beyond <= -2:
			mark = "▼▼ below 99.8 %"
		}
		rows[i] = []string{
			u.Name, strconv.Itoa(u.Trials), strconv.Itoa(u.Failures), percent(u.Proportion),
			percent(u.Inner.Lo) + "–" + percent(u.Inner.Hi), percent(u.Outer.Lo) + "–" + percent(u.Outer.Hi), mark,
		}
	}
	if err := a.printRows(out, []string{by, "readings", "over", "share", "95 % limits", "99.8 % limits", ""}, rows); err != nil {
		return err
	}
	if out.draws() {
		if err := a.draw(out, figure.Funnel("Readings over the action level by "+by, "readings", f), v.Now().Time()); err != nil {
			return err
		}
	}
	if out.csv {
		return nil
	}
	fmt.Fprintf(a.Out, "\noverall %s", percent(f.Target))
	if f.OverDispersed {
		fmt.Fprintf(a.Out, "; units differ by more than chance (φ = %.2f), so the limits are widened", f.Phi)
	}
	if few > 0 {
		fmt.Fprintf(a.Out, "; %d left out for too few readings", few)
	}
	fmt.Fprintln(a.Out)
	if by == string(desk.ByPerson) {
		fmt.Fprintf(a.Out, "\n%s\n", peopleCaution)
	}
	a.printCaution()
	return nil
}

func percent(p float64) string { return fmt.Sprintf("%.1f %%", 100*p) }

// funnelJSON is a funnel as a contract.
func funnelJSON(f trend.Funnel, by string) map[string]any {
	units := make([]map[string]any, len(f.Units))
	for i, u := range f.Units {
		units[i] = map[string]any{
			"name": u.Name, "readings": u.Trials, "over": u.Failures, "z": u.Z, "beyond": u.Beyond,
			"inner": [2]float64{u.Inner.Lo, u.Inner.Hi}, "outer": [2]float64{u.Outer.Lo, u.Outer.Hi},
		}
	}
	return map[string]any{"by": by, "target": f.Target, "phi": f.Phi, "over_dispersed": f.OverDispersed, "tau_squared": f.TauSquared, "units": units}
}
