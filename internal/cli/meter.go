package cli

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/figure"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// meterCommands are those of meters, lots and the study of the measurement itself.
type meterCommands struct{ *app }

func (a meterCommands) meterCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "meter", Short: "Check meters, compare lots and meters, study the measurement itself", Args: cobra.NoArgs,
		Long: `Check meters with known materials, compare a new lot or meter with the old one, and study
how much of the spread is the measurement itself.

A failed check takes the trust from every reading since the last good one: readings that
passed do not count until the scope is sampled again.`,
	}
	c.AddCommand(
		a.meterListCommand(),
		a.meterCheckCommand(),
		a.meterChecksCommand(),
		a.meterTargetCommand(),
		a.meterOwnCommand(),
		a.meterCompareCommand(),
		a.meterStudyCommand(),
	)
	return c
}

func conditionMark(c quality.Condition) string {
	switch c {
	case quality.Checked:
		return "✓ checked"
	case quality.Failed:
		return "✗ failed"
	case quality.Unchecked:
	}
	return "? unchecked"
}

func verdictMark(o quality.Outcome) string {
	switch o {
	case quality.Accepted:
		return "✓ accepted"
	case quality.Warning:
		return "△ warning"
	case quality.Rejected:
		return "✗ rejected"
	case quality.Unjudged:
	}
	return "? not judged"
}

func (a meterCommands) meterListCommand() *cobra.Command {
	var at string
	var out output
	c := &cobra.Command{
		Use: "list", Short: "Show whether each meter may be used", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				when, err := instant(at, v.Zone(), v.Now())
				if err != nil {
					return err
				}
				meters, err := v.Measuring().Meters()
				if err != nil {
					return err
				}
				type line struct {
					quality.Meter
					State quality.State `json:"state"`
				}
				lines := []line{}
				rows := [][]string{}
				for _, m := range meters {
					s, err := v.Measuring().MeterState(m.Code, when)
					if err != nil {
						return err
					}
					lines = append(lines, line{m, s})
					rows = append(rows, []string{m.Code, m.System, conditionMark(s.Condition), moment(v, s.Since), moment(v, s.Until), s.Why})
				}
				if a.json {
					return a.printJSON(lines)
				}
				return a.printRows(out, []string{"meter", "system", "state", "check", "until", ""}, rows)
			})
		},
	}
	out.flags(c, false)
	c.Flags().StringVar(&at, "at", "", "the instant asked about (default now)")
	return c
}

// controlFlags are the controls of one check.
type controlFlags struct {
	values    map[quality.ControlKind]*string
	materials map[quality.ControlKind]*string
}

func (f *controlFlags) flags(c *cobra.Command) {
	f.values, f.materials = make(map[quality.ControlKind]*string), make(map[quality.ControlKind]*string)
	for _, kind := range quality.ControlKinds {
		f.values[kind] = c.Flags().String(string(kind), "", fmt.Sprintf("reading of the %s control, in RLU", kind))
		f.materials[kind] = c.Flags().
			String(string(kind)+"-material", "", fmt.Sprintf("what was read as the %s control: MATERIAL or MATERIAL/LOT (default: the one that has a target)", kind))
	}
}

func (f *controlFlags) controls(v desk.View, m quality.Meter, at unit.Instant) ([]quality.Control, error) {
	targets, err := v.Measuring().Targets()
	if err != nil {
		return nil, err
	}
	var list []quality.Control
	for _, kind := range quality.ControlKinds {
		if *f.values[kind] == "" {
			continue
		}
		n, err := unit.ParseNumber(*f.values[kind])
		if err != nil {
			return nil, usageError{fmt.Errorf("--%s: %w", kind, err)}
		}
		x := quality.Control{Kind: kind, Value: n, At: at}
		if text := *f.materials[kind]; text != "" {
			x.Material, x.Lot, _ = strings.Cut(text, "/")
		} else if x.Material, x.Lot, err = material(targets, m, kind, at); err != nil {
			return nil, err
		}
		list = append(list, x)
	}
	if len(list) == 0 {
		return nil, usageError{fmt.Errorf("give at least one control: --%s", strings.Join(wordsOf(quality.ControlKinds), ", --"))}
	}
	return list, nil
}

func wordsOf[T ~string](list []T) []string {
	texts := make([]string, len(list))
	for i, x := range list {
		texts[i] = string(x)
	}
	return texts
}

// material returns the one material that a kind of control of a meter has a target for.
func material(targets []quality.Target, m quality.Meter, kind quality.ControlKind, at unit.Instant) (name, lot string, err error) {
	seen := map[[2]string]bool{}
	for _, t := range targets {
		if t.System == m.System && (t.Meter == "" || t.Meter == m.Code) && t.Kind == kind && t.Adopted <= at {
			seen[[2]string{t.Material, t.Lot}] = true
			name, lot = t.Material, t.Lot
		}
	}
	if len(seen) != 1 {
		return "", "", usageError{
			fmt.Errorf("%d materials have a target as %s control of %s: name the one that was read with --%s-material", len(seen), kind, m.System, kind),
		}
	}
	return name, lot, nil
}

func findMeter(v desk.View, code string) (quality.Meter, error) {
	meters, err := v.Measuring().Meters()
	if err != nil {
		return quality.Meter{}, err
	}
	if i := slices.IndexFunc(meters, func(m quality.Meter) bool { return m.Code == code }); i >= 0 {
		return meters[i], nil
	}
	return quality.Meter{}, &fault.Error{
		Code:    fault.NotFound,
		Message: fmt.Sprintf("meter %q is not known", code),
		Hint:    "see the meters with: rinsate meter list",
	}
}

func (a meterCommands) meterCheckCommand() *cobra.Command {
	var who actor
	var controls controlFlags
	var at, serviced string
	c := &cobra.Command{
		Use: "check METER", Short: "Record a check of a meter with its controls and judge it", Args: cobra.ExactArgs(1),
		Long: `Record a check of a meter: what it read of a positive, negative or blank control. The
check is judged by the targets in force and by the control rules of the rule set; a failed
check takes the trust from every reading since the last good one.
Exit code 0: the meter may be used, 4: it must not be used.`,
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.open(c.Context(), func(d *desk.Desk) error {
				var r desk.Receipt
				var verdict quality.Verdict
				if err := who.do(c.Context(), a.app, d, func(w *desk.Work) error {
					when, err := instant(at, w.Zone(), w.Now())
					if err != nil {
						return err
					}
					m, err := findMeter(w.View, args[0])
					if err != nil {
						return err
					}
					list, err := controls.controls(w.View, m, when)
					if err != nil {
						return err
					}
					r, verdict, err = w.AtMeters().CheckMeter(e, desk.Check{Meter: m.Code, Controls: list, Serviced: serviced})
					return err
				}); err != nil {
					return err
				}
				if !verdict.Outcome.Good() {
					a.code = exitNotNow
				}
				if a.json {
					return a.printJSON(map[string]any{"record": r.Record.ID, "fresh": r.Fresh, "verdict": verdict, "followed": receiptJSON(r).Followed})
				}
				fmt.Fprintf(a.Out, "%s  %s: %s\n", args[0], strings.ToUpper(verdictMark(verdict.Outcome)), verdict.Why)
				if verdict.Next != "" {
					fmt.Fprintf(a.Out, "next: %s\n", verdict.Next)
				}
				fmt.Fprintf(a.Out, "record %s\n", r.Record.ID)
				suspects := 0
				for _, f := range r.Followed {
					if record.KindOf(f) == record.Suspect {
						body, err := record.Body[record.SuspectBody](f)
						if err != nil {
							return err
						}
						suspects += len(body.Readings)
						fmt.Fprintf(a.Out, "  in doubt: %d readings of %s (record %s)\n", len(body.Readings), body.Scope, f.ID)
					}
				}
				if suspects > 0 {
					fmt.Fprintln(a.Out, "see which scopes are kept from use with: rinsate board")
				}
				return nil
			})
		},
	}
	who.flags(c, desk.ToCheckMeter, true)
	controls.flags(c)
	c.Flags().StringVar(&at, "at", "", "when it was read (default now)")
	c.Flags().StringVar(&serviced, "serviced", "", "what was done to the meter just before: earlier checks do not count any more")
	return c
}

func (a meterCommands) meterChecksCommand() *cobra.Command {
	var out output
	var from, to, kind, materialName string
	c := &cobra.Command{
		Use: "checks METER", Short: "List the checks of a meter, the latest last", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				m, err := findMeter(v, args[0])
				if err != nil {
					return err
				}
				start, end, err := window(v, from, to)
				if err != nil {
					return err
				}
				checks, err := v.Measuring().Checks(m.Code, start, end)
				if err != nil {
					return err
				}
				if out.draws() {
					targets, err := v.Measuring().Targets()
					if err != nil {
						return err
					}
					if materialName == "" {
						if materialName, _, err = material(targets, m, quality.ControlKind(kind), v.Now()); err != nil {
							return err
						}
					}
					if err := a.draw(
						out,
						figure.Checks(m, quality.ControlKind(kind), materialName, checks, targets, v.Zone(), figure.Places{}),
						v.Now().Time(),
					); err != nil {
						return err
					}
				}
				if a.json {
					return a.printJSON(orEmpty(checks))
				}
				rows := make([][]string, len(checks))
				for i, x := range checks {
					var controls []string
					for _, k := range x.Controls {
						controls = append(controls, fmt.Sprintf("%s %s", k.Kind, k.Value))
					}
					why := x.Verdict.Why
					if x.Serviced != "" {
						why = "after service (" + x.Serviced + "): " + why
					}
					rows[i] = []string{moment(v, x.Verdict.At), strings.Join(controls, ", "), verdictMark(x.Verdict.Outcome), why, x.By, short(string(x.ID))}
				}
				return a.printRows(out, []string{"at", "controls RLU", "verdict", "", "by", "record"}, rows)
			})
		},
	}
	out.flags(c, true)
	c.Flags().StringVar(&from, "from", "", "checks from this instant on (default 180 days back)")
	c.Flags().StringVar(&to, "to", "", "checks up to this instant (default now)")
	c.Flags().StringVar(&kind, "kind", string(quality.Positive), "control to show: "+scope.Words(quality.ControlKinds))
	c.Flags().StringVar(&materialName, "material", "", "material to show (default: the one that has a target)")
	return c
}

// targetOf are the flags that name a target.
type controlTargetFlags struct {
	t    quality.Target
	kind string
}

func (f *controlTargetFlags) flags(c *cobra.Command) {
	c.Flags().StringVar(&f.kind, "kind", string(quality.Positive), "kind of control: "+scope.Words(quality.ControlKinds))
	c.Flags().StringVar(&f.t.Material, "material", "", "what is read")
	c.Flags().StringVar(&f.t.Lot, "lot", "", "lot of the material")
	c.Flags().StringVar(&f.t.Source, "source", "", "where the target comes from")
	c.Flags().StringVar(&f.t.Second, "second", "", "code of the second person, for a target that asks for less than before")
	c.Flags().StringVar(&f.t.Edition, "edition", "", "the facility's name of this edition")
	must(c.MarkFlagRequired("material"))
}

func (a meterCommands) meterTargetCommand() *cobra.Command {
	var f controlTargetFlags
	var who actor
	var low, high float64
	var at string
	c := &cobra.Command{
		Use: "target", Short: "Adopt what a control should read, as the manufacturer states it", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			f.t.Kind, f.t.Low, f.t.High, f.t.Adopter = quality.ControlKind(f.kind), unit.Number(low), unit.Number(high), who.by
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				if f.t.Adopted, err = instant(at, w.Zone(), w.Now()); err != nil {
					return desk.Receipt{}, err
				}
				return w.AtMeters().RegisterTarget(e, f.t)
			}, "target of %s control %q adopted", f.kind, f.t.Material)
		},
	}
	f.flags(c)
	who.flags(c, desk.ToRegisterTarget, true)
	c.Flags().StringVar(&f.t.System, "system", "", "meter system")
	c.Flags().StringVar(&f.t.Meter, "meter", "", "one meter only")
	c.Flags().Float64Var(&low, "low", 0, "lower limit in RLU (positive controls)")
	c.Flags().Float64Var(&high, "high", 0, "upper limit in RLU")
	c.Flags().StringVar(&at, "at", "", "from when on it judges (default now)")
	for _, name := range []string{"system", "source", "edition"} {
		must(c.MarkFlagRequired(name))
	}
	return c
}

func (a meterCommands) meterOwnCommand() *cobra.Command {
	var f controlTargetFlags
	var who actor
	var from, to string
	var adopt bool
	c := &cobra.Command{
		Use: "own METER", Short: "Derive a target from a meter's own checks, and see what later checks would have been by it", Args: cobra.ExactArgs(1),
		Long: `Derive the mean and standard deviation of a positive control from a meter's own good checks
in a time (at least 20), and judge every later check by them and the control rules: a drift
that stays within the manufacturer's limits shows here. With --adopt the target is put in
force, for this meter alone, together with the limits that it had.`,
		RunE: func(c *cobra.Command, args []string) error {
			f.t.Kind = quality.ControlKind(f.kind)
			opened := a.look
			if adopt {
				opened = a.open
			}
			return opened(c.Context(), func(d *desk.Desk) error {
				var own quality.Target
				var later []quality.Verdict
				var r desk.Receipt
				act := who.on(d).Try
				if adopt {
					act = who.doing(a.app, d)
				}
				if err := act(c.Context(), func(w *desk.Work) error {
					start, err := instant(from, w.Zone(), 0)
					if err != nil {
						return err
					}
					end, err := instant(to, w.Zone(), w.Now())
					if err != nil {
						return err
					}
					if own, later, err = w.Measuring().OwnTarget(f.t, args[0], start, end); err != nil || !adopt {
						return err
					}
					targets, err := w.Measuring().Targets()
					if err != nil {
						return err
					}
					m, err := findMeter(w.View, args[0])
					if err != nil {
						return err
					}
					if held, ok := quality.FindTarget(
						targets,
						m,
						quality.Control{Meter: m.Code, Kind: own.Kind, Material: own.Material, Lot: own.Lot, At: w.Now()},
					); ok {
						own.Low, own.High = held.Low, held.High
					}
					own.Meter, own.Adopter, own.Adopted = m.Code, who.by, w.Now()
					e, err := who.entry()
					if err != nil {
						return err
					}
					r, err = w.AtMeters().RegisterTarget(e, own)
					return err
				}); err != nil {
					return err
				}
				if a.json {
					return a.printJSON(map[string]any{"target": own, "later": orEmpty(later), "record": r.Record.ID})
				}
				return a.own(d, own, later, r)
			})
		},
	}
	f.flags(c)
	who.named(c, desk.ToRegisterTarget, "code of the person who adopts")
	c.Flags().StringVar(&who.id, "id", "", "id of the record, so that sending it twice stores it once")
	c.Flags().StringVar(&from, "from", "", "checks from this instant on (default all)")
	c.Flags().StringVar(&to, "to", "", "checks up to this instant (default now)")
	c.Flags().BoolVar(&adopt, "adopt", false, "put the target in force (needs --by, --source and --edition)")
	return c
}

func (a meterCommands) own(d *desk.Desk, own quality.Target, later []quality.Verdict, r desk.Receipt) error {
	zone := d.DB.Zone()
	fmt.Fprintf(a.Out, "%s control %q: %d own checks, centre %.0f RLU, standard deviation %.3f of log10\n",
		own.Kind, own.Material, own.Runs, math.Pow(10, float64(own.Mean))-1, float64(own.SD))
	rejected := slices.DeleteFunc(slices.Clone(later), func(v quality.Verdict) bool { return v.Outcome != quality.Rejected })
	fmt.Fprintf(a.Out, "by this target and the control rules %d of %d later checks would have been rejected\n", len(rejected), len(later))
	if len(rejected) > 0 {
		fmt.Fprintf(a.Out, "the first at %s: %s\n", rejected[0].At.In(zone), rejected[0].Why)
	}
	if r.Record.ID != "" {
		fmt.Fprintf(a.Out, "adopted: record %s\n", r.Record.ID)
	}
	return nil
}

func (a meterCommands) meterCompareCommand() *cobra.Command {
	var who actor
	var kit, lots, meters, file, from, to string
	var margin float64
	var out output
	c := &cobra.Command{
		Use: "compare", Short: "Compare a new lot or meter with the old one: may the level stay?",
		Long: `Compare a new lot (--lots OLD,NEW) or a new meter (--meters OLD,NEW) with the old one. Best
are pairs of readings of the same samples in a file (--pairs, columns sample, old, new);
without it the stored readings of the time are compared series by series, which is weaker,
since cleaning may have changed as well.

The answer is "same level may stay", "new level needed" or how many more pairs are needed.
It is never a factor: readings are not converted from one scale to another.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if (lots == "") == (meters == "") {
				return usageError{fmt.Errorf("name either two lots (--lots OLD,NEW) or two meters (--meters OLD,NEW)")}
			}
			first, second, ok := strings.Cut(lots+meters, ",")
			if !ok || first == "" || second == "" || first == second {
				return usageError{fmt.Errorf("%q: name the old and the new, separated by a comma", lots+meters)}
			}
			plan := quality.DefaultPlan()
			plan.Margin = unit.Number(margin)
			if err := plan.Check(); err != nil {
				return usageError{err}
			}
			opened := a.look
			if who.by != "" {
				opened = a.open
			}
			return opened(c.Context(), func(d *desk.Desk) error {
				act := who.on(d).Try
				if who.by != "" {
					act = who.doing(a.app, d)
				}
				var old, new quality.Setup
				var pairs []quality.Pair
				var found quality.Paired
				var r desk.Receipt
				if err := act(c.Context(), func(w *desk.Work) (err error) {
					if lots != "" {
						old, new, err = w.Measuring().LotSetups(kit, first, second)
					} else if old, err = w.Measuring().Setup(first, kit, ""); err == nil {
						new, err = w.Measuring().Setup(second, kit, "")
					}
					if err != nil {
						return err
					}
					if pairs, err = pairsOf(w.View, old, new, file, from, to); err != nil {
						return err
					}
					if found, err = plan.Paired(old, new, pairs); err != nil || who.by == "" {
						return err
					}
					r, err = w.OnSignals().RecordComparison(desk.Entry{By: who.by}, old, new, plan, pairs, found)
					return err
				}); err != nil {
					return err
				}
				return a.compared(found, pairs, file != "", plan, r, out)
			})
		},
	}
	c.Flags().StringVar(&kit, "kit", "", "kit")
	must(c.MarkFlagRequired("kit"))
	c.Flags().StringVar(&lots, "lots", "", "two lots of the kit: OLD,NEW")
	c.Flags().StringVar(&meters, "meters", "", "two meters: OLD,NEW")
	c.Flags().StringVar(&file, "pairs", "", "CSV file of readings of the same samples: sample, old, new")
	c.Flags().StringVar(&from, "from", "", "stored readings from this instant on (default 180 days back)")
	c.Flags().StringVar(&to, "to", "", "stored readings up to this instant (default now)")
	c.Flags().Float64Var(&margin, "margin", float64(quality.DefaultPlan().Margin), "largest ratio that a level can bear; for the facility to say")
	who.named(c, desk.ToRecordComparison, "record the comparison, by this person")
	c.Flags().BoolVar(&out.csv, "csv", false, "print the pairs as CSV")
	return c
}

func pairsOf(v desk.View, old, new quality.Setup, file, from, to string) ([]quality.Pair, error) {
	if file == "" {
		start, end, err := window(v, from, to)
		if err != nil {
			return nil, err
		}
		return v.Measuring().FieldPairs(old, new, start, end)
	}
	var pairs []quality.Pair
	err := readTable(file, desk.PairColumns(), func(t *table.Table) (err error) {
		pairs, err = desk.ReadPairs(t)
		return err
	})
	return pairs, err
}

func answerMark(x quality.Answer) string {
	switch x {
	case quality.SameLevel:
		return "✓ "
	case quality.NewLevel:
		return "▲ "
	case quality.TooFew:
	}
	return "? "
}

func (a meterCommands) compared(found quality.Paired, pairs []quality.Pair, same bool, plan quality.Plan, r desk.Receipt, out output) error {
	if out.csv {
		rows := make([][]string, len(pairs))
		for i, p := range pairs {
			rows[i] = []string{p.Sample, fmt.Sprintf("%.2f", float64(p.Old)), fmt.Sprintf("%.2f", float64(p.New)), fmt.Sprintf("%.3f", float64(p.New/p.Old))}
		}
		return a.printRows(out, []string{"sample", "old RLU", "new RLU", "ratio"}, rows)
	}
	if a.json {
		return a.printJSON(map[string]any{
			"answer": found.Answer, "more": found.More, "why": found.Why, "pairs": orEmpty(pairs), "same_samples": same, "margin": plan.Margin,
			"ratio": found.Ratio, "ratio_interval": [2]float64{found.RatioCI.Lo, found.RatioCI.Hi},
			"limits_of_agreement": [2]float64{found.Limits.Lo, found.Limits.Hi}, "record": r.Record.ID,
		})
	}
	fmt.Fprintf(a.Out, "%s%s\n%s\n", answerMark(found.Answer), strings.ToUpper(string(found.Answer)), found.Why)
	if found.Ratio > 0 {
		a.printTable([]string{"", "ratio new to old", "95 % interval"}, [][]string{
			{"geometric mean", fmt.Sprintf("%.3f", found.Ratio), fmt.Sprintf("%.3f–%.3f", found.RatioCI.Lo, found.RatioCI.Hi)},
			{
				"limits of agreement",
				fmt.Sprintf("%.2f and %.2f", found.Limits.Lo, found.Limits.Hi),
				fmt.Sprintf("%.2f–%.2f and %.2f–%.2f", found.LowerCI.Lo, found.LowerCI.Hi, found.UpperCI.Lo, found.UpperCI.Hi),
			},
		})
		fmt.Fprintln(a.Out, "the ratio is evidence on whether the level may stay, never a factor to convert readings with")
	}
	if !same {
		fmt.Fprintf(
			a.Out,
			"from %s of stored readings: cleaning may have changed as well; pairs of the same samples say more (--pairs)\n",
			countOf(len(pairs), "series"),
		)
	}
	if r.Record.ID != "" {
		fmt.Fprintf(a.Out, "record %s\n", r.Record.ID)
	}
	return nil
}

func (a meterCommands) meterStudyCommand() *cobra.Command {
	var noPool bool
	var out output
	c := &cobra.Command{
		Use: "study FILE", Short: "Say how much of the spread is the measurement itself (gauge R&R)", Args: cobra.ExactArgs(1),
		Long: `Say how much of the spread of readings is the measurement itself, from a file in which every
appraiser read every part equally often (columns part, appraiser, value in RLU). Analysis of
variance on log10(RLU+1); an interaction that is not significant (p over 0.25) is pooled with
the error.`,
		RunE: func(_ *cobra.Command, args []string) error {
			var list []quality.Measurement
			if err := readTable(args[0], desk.StudyColumns(), func(t *table.Table) (err error) {
				list, err = desk.ReadStudy(t)
				return err
			}); err != nil {
				return err
			}
			s, err := quality.NewStudy(list)
			if err != nil {
				return err
			}
			g, err := s.Gauge(!noPool, stats.MustConfidence("0.95"))
			if err != nil {
				return err
			}
			return a.gauge(g, out)
		},
	}
	c.Flags().BoolVar(&noPool, "interaction", false, "keep the interaction of parts and appraisers in any case")
	out.flags(c, false)
	return c
}

func (a meterCommands) gauge(g quality.Gauge, out output) error {
	if a.json {
		components := map[string]any{}
		for _, p := range g.Components() {
			components[strings.ReplaceAll(p.Name, " ", "_")] = map[string]any{
				"variance": p.Variance, "sd": p.SD, "variance_interval": [2]float64{p.CI.Lo, p.CI.Hi},
				"contribution": p.Contribution, "study_variation": p.StudyVariation, "set_to_zero": p.Negative,
			}
		}
		return a.printJSON(
			map[string]any{"components": components, "distinct_categories": g.Distinct, "with_interaction": g.Anova.WithInteraction, "why": g.Why},
		)
	}
	var rows [][]string
	for _, p := range g.Components() {
		note := ""
		if p.Negative {
			note = "came out negative, set to zero"
		}
		rows = append(rows, []string{
			p.Name,
			fmt.Sprintf("%.4f", p.SD),
			fmt.Sprintf("%.4f–%.4f", math.Sqrt(max(0, p.CI.Lo)), math.Sqrt(max(0, p.CI.Hi))),
			percent(p.Contribution),
			percent(p.StudyVariation),
			note,
		})
	}
	if err := a.printRows(out, []string{"", "sd log10", "95 % interval", "of the variance", "of the spread", ""}, rows); err != nil || out.csv {
		return err
	}
	fmt.Fprintf(a.Out, "\ndistinct categories: %s\n%s\n", strconv.Itoa(g.Distinct), g.Why)
	return nil
}

func countOf(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
