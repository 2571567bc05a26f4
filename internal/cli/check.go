package cli

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"rinsate/internal/base/stats"
	"rinsate/internal/desk"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/wire/table"
)

// sampleCommands are those that say which scopes and points are sampled, how, and what readings of a file come to.
type sampleCommands struct{ *app }

// checkFiles are the files that a check is judged against.
type checkFiles struct {
	names                       map[desk.Kind]*string
	rules, profile, zone, print string
	over                        bool
}

func (a sampleCommands) checkCommand() *cobra.Command {
	f := checkFiles{names: make(map[desk.Kind]*string)}
	c := &cobra.Command{
		Use: "check [FILE]", Short: "Judge a file of readings against a fleet and levels, storing nothing",
		Long: `Judge a CSV file of readings (or standard input) against a fleet and levels that come
from files, and store nothing. Prints every judgement and, for each kind of scope and
point, how many are over the action level with a 95 % interval (Wilson).
Exit code 0: none over the action level, 3: some, 1: lines that could not be judged.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			name := "-"
			if len(args) == 1 {
				name = args[0]
			}
			if a.json {
				f.print = "json"
			}
			return a.check(name, &f)
		},
	}
	for _, k := range []desk.Kind{desk.Models, desk.Fleet, desk.Meters, desk.Lots, desk.Levels} {
		f.names[k] = c.Flags().String(string(k), "", "CSV file of "+string(k))
	}
	for _, k := range []desk.Kind{desk.Models, desk.Fleet, desk.Levels} {
		must(c.MarkFlagRequired(string(k)))
	}
	c.Flags().StringVar(&f.rules, "rules", "", "rule set (YAML; default: the one that ships with the program)")
	c.Flags().StringVar(&f.profile, "profile", "", "YAML file that describes the file of readings")
	c.Flags().StringVar(&f.zone, "zone", "", "time zone of the times without an offset that a profile reads")
	c.Flags().StringVar(&f.print, "print", "table", "table, csv or json")
	c.Flags().BoolVar(&f.over, "over", false, "print only what is not below the alert level")
	return c
}

func (a sampleCommands) check(name string, f *checkFiles) (err error) {
	checker, err := f.checker()
	if err != nil {
		return err
	}
	p, err := readProfile(f.profile, f.zone)
	if err != nil {
		return err
	}
	content, size, err := setUpCommands(a).source(name)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, content.Close()) }()
	r, stop := setUpCommands(a).progress(content, size, name)
	defer stop()
	t, err := table.Open(name, r, p, desk.Columns(desk.Readings))
	if err != nil {
		return err
	}
	buffered := bufio.NewWriterSize(a.Out, 1<<16)
	out, err := newCheckPrinter(f.print, buffered, a.terms.outcome)
	if err != nil {
		return err
	}
	tally := tally{}
	problems := checker.Check(t, func(c *desk.Checked) error {
		tally.add(c)
		if f.over && c.Outcome == reading.OK && !c.Near {
			return nil
		}
		return out.line(c)
	})
	groups, total, err := tally.groups()
	if err != nil {
		return err
	}
	if err := errors.Join(out.end(groups, total), buffered.Flush()); err != nil {
		return err
	}
	if problems != nil {
		return fmt.Errorf("some lines could not be judged\n%w", problems)
	}
	if total.Action > 0 {
		a.code = exitOver
	}
	return nil
}

func (f *checkFiles) checker() (*desk.Checker, error) {
	text, source := policy.Preset(), "preset"
	if f.rules != "" {
		var err error
		if text, err = os.ReadFile(f.rules); err != nil {
			return nil, usageError{err}
		}
		source = f.rules
	}
	rules, err := policy.Parse(source, text)
	if err != nil {
		return nil, err
	}
	checker := desk.NewChecker(rules)
	for _, k := range []desk.Kind{desk.Models, desk.Fleet, desk.Meters, desk.Lots, desk.Levels} {
		name := *f.names[k]
		if name == "" {
			continue
		}
		if err := loadFile(checker, k, name, f.zone); err != nil {
			return nil, err
		}
	}
	return checker, nil
}

func loadFile(c *desk.Checker, k desk.Kind, name, zone string) (err error) {
	file, err := os.Open(name)
	if err != nil {
		return usageError{err}
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	t, err := table.Open(name, file, table.Profile{Time: table.Clock{Zone: zone}}, desk.Columns(k))
	if err != nil {
		return err
	}
	return c.Load(k, t)
}

// group counts the outcomes of one kind of scope at one kind of point.
type group struct {
	Kind   string `json:"kind,omitempty"`
	Point  string `json:"point,omitempty"`
	OK     int    `json:"ok"`
	Alert  int    `json:"alert"`
	Action int    `json:"action"`
	Void   int    `json:"void"`
	None   int    `json:"none"`
	// Judged counts below, alert and action.
	Judged int `json:"judged"`
	// Share is Action of Judged with its 95 % Wilson interval; absent when nothing was judged.
	Share *share `json:"share_over_action,omitempty"`
}

type share struct {
	Estimate float64 `json:"estimate"`
	Low      float64 `json:"low"`
	High     float64 `json:"high"`
}

type tallyKey struct{ kind, point string }

type tally map[tallyKey]*group

func (t tally) add(c *desk.Checked) {
	k := tallyKey{string(c.Kind), string(c.Point)}
	g := t[k]
	if g == nil {
		g = &group{Kind: k.kind, Point: k.point}
		t[k] = g
	}
	switch c.Outcome {
	case reading.OK:
		g.OK++
	case reading.Alert:
		g.Alert++
	case reading.Action:
		g.Action++
	case reading.Void:
		g.Void++
	case reading.None:
		g.None++
	}
}

// groups returns the groups in order and their sum, each with its share over the action level.
func (t tally) groups() ([]group, group, error) {
	var groups []group
	var total group
	for _, g := range t {
		groups = append(groups, *g)
		total.OK += g.OK
		total.Alert += g.Alert
		total.Action += g.Action
		total.Void += g.Void
		total.None += g.None
	}
	slices.SortFunc(groups, func(a, b group) int {
		if a.Kind != b.Kind {
			if a.Kind < b.Kind {
				return -1
			}
			return 1
		}
		if a.Point < b.Point {
			return -1
		}
		return 1
	})
	for i := range groups {
		if err := groups[i].finish(); err != nil {
			return nil, total, err
		}
	}
	return groups, total, total.finish()
}

func (g *group) finish() error {
	g.Judged = g.OK + g.Alert + g.Action
	if g.Judged == 0 {
		return nil
	}
	i, err := stats.Wilson(g.Action, g.Judged, stats.MustConfidence("0.95"))
	g.Share = &share{Estimate: float64(g.Action) / float64(g.Judged), Low: i.Lo, High: i.Hi}
	return err
}

func (g group) shareText() string {
	if g.Share == nil {
		return "nothing judged"
	}
	return fmt.Sprintf("%.1f %% (%.1f–%.1f %%)", 100*g.Share.Estimate, 100*g.Share.Low, 100*g.Share.High)
}

// checkPrinter prints judgements as they come.
type checkPrinter interface {
	line(c *desk.Checked) error
	end(groups []group, total group) error
}

func newCheckPrinter(kind string, w *bufio.Writer, mark func(reading.Outcome) string) (checkPrinter, error) {
	switch kind {
	case "table":
		return &tablePrinter{w: w, mark: mark}, nil
	case "csv":
		return &csvPrinter{w: table.NewWriter(w, table.WriterOptions{})}, nil
	case "json":
		return &jsonPrinter{w: w}, nil
	}
	return nil, usageError{fmt.Errorf("--print %q is not known; allowed: table, csv, json", kind)}
}

// tablePrinter prints fixed columns, since a file may be too long to be measured first.
type tablePrinter struct {
	w    *bufio.Writer
	mark func(reading.Outcome) string
	row  []byte
	any  bool
}

func (p *tablePrinter) line(c *desk.Checked) error {
	if !p.any {
		p.any = true
		fmt.Fprintf(p.w, "%-7s %-12s %-24s %-16s %-12s %s\n", "line", "scope", "point", "value", "outcome", "why")
	}
	b, mark := p.row[:0], p.mark(c.Outcome)
	b = pad(strconv.AppendInt(b, int64(c.Line), 10), len(b), 8)
	b = pad(append(b, c.Scope...), len(b), 13)
	b = pad(append(b, c.Point...), len(b), 25)
	b = pad(append(b, c.Value.String()...), len(b), 17)
	b = pad(append(b, mark...), len(b), 13+len(mark)-len([]rune(mark)))
	b = append(append(b, c.Why...), '\n')
	p.row = b
	_, err := p.w.Write(b)
	return err
}

// pad fills the column that began at start up to its width.
func pad(b []byte, start, width int) []byte {
	b = append(b, ' ')
	for len(b)-start < width {
		b = append(b, ' ')
	}
	return b
}

func (p *tablePrinter) end(groups []group, total group) error {
	if p.any {
		fmt.Fprintln(p.w)
	}
	fmt.Fprintf(p.w, "%-22s %-24s %7s %7s %7s %6s %6s  %s\n", "kind", "point", "OK", "alert", "action", "void", "none", "over the action level (95 %, Wilson)")
	for _, g := range append(groups, total) {
		kind := g.Kind
		if kind == "" {
			kind = "all"
		}
		fmt.Fprintf(p.w, "%-22s %-24s %7d %7d %7d %6d %6d  %s\n", kind, g.Point, g.OK, g.Alert, g.Action, g.Void, g.None, g.shareText())
	}
	_, err := fmt.Fprintf(p.w, "\n%s\n", caution)
	return err
}

type csvPrinter struct {
	w      *table.Writer
	header bool
}

func (p *csvPrinter) line(c *desk.Checked) error {
	if !p.header {
		p.header = true
		if err := p.w.Write("line", "scope", "kind", "point", "value", "unit", "outcome", "near", "why"); err != nil {
			return err
		}
	}
	value := c.Value.Number.String()
	if c.Value.Analyte == reading.Strip {
		value = c.Value.Word
	}
	return p.w.Write(
		strconv.Itoa(c.Line),
		c.Scope,
		string(c.Kind),
		string(c.Point),
		value,
		string(c.Value.Unit),
		string(c.Outcome),
		strconv.FormatBool(c.Near),
		c.Why,
	)
}

func (p *csvPrinter) end([]group, group) error { return p.w.Flush() }

// jsonPrinter prints one document piece by piece, so that a long file needs no memory.
type jsonPrinter struct {
	w   io.Writer
	any bool
}

func (p *jsonPrinter) line(c *desk.Checked) error {
	text, err := json.Marshal(c)
	if err != nil {
		return err
	}
	before := ",\n    "
	if !p.any {
		before = "{\n  \"readings\": [\n    "
	}
	p.any = true
	_, err = fmt.Fprintf(p.w, "%s%s", before, text)
	return err
}

func (p *jsonPrinter) end(groups []group, total group) error {
	if !p.any {
		fmt.Fprint(p.w, "{\n  \"readings\": [")
	}
	text, err := json.MarshalIndent(struct {
		Groups []group `json:"groups"`
		Total  group   `json:"total"`
	}{groups, total}, "  ", "  ")
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.w, "\n  ],\n  \"summary\": %s\n}\n", text)
	return err
}
