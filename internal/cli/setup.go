package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
	"rinsate/internal/wire/table"
)

// setUpCommands are those that make a data folder and read files into it.
type setUpCommands struct{ *app }

func (a setUpCommands) initCommand() *cobra.Command {
	var site record.SiteBody
	var rules, by, listen string
	var pages bool
	required := []string{"site", "name", "zone", "rules", "by"}
	c := &cobra.Command{
		Use: "init", Short: "Make a new, empty data folder with its ledger and signing key",
		Long: `Make a new, empty data folder with its ledger and signing key. The rule set named by
--rules is adopted as the facility's policy; "rinsate rules show" prints one to start
from. Keep a copy of the printed public key outside this computer: whoever has it can
verify the ledger without trusting this computer.

--pages asks for all of it in a browser of this computer instead, makes the first
account too, and then serves the pages.`,
		Args: func(c *cobra.Command, args []string) error {
			if pages { // what is required otherwise is asked for on the page
				for _, name := range required {
					if err := c.Flags().SetAnnotation(name, cobra.BashCompOneRequiredFlag, []string{"false"}); err != nil {
						return err
					}
				}
			}
			return cobra.NoArgs(c, args)
		},
		RunE: func(c *cobra.Command, _ []string) (err error) {
			if !slices.Contains(record.AllTerms, site.Terms) {
				return usageError{fmt.Errorf("--terms %s: allowed: us, uk", site.Terms)}
			}
			if pages {
				return servingCommands(a).firstRun(c, listen, site.Terms)
			}
			text, err := os.ReadFile(rules)
			if err != nil {
				return usageError{fmt.Errorf("rule set: %w\nhint: print one to edit with: rinsate rules show > rules.yaml", err)}
			}
			if _, err := policy.Parse(rules, text); err != nil {
				return usageError{err}
			}
			db, err := desk.Beginning{Site: site, Rules: text, RulesName: rules, By: by}.Begin(c.Context(), a.home(a.data), a.clock)
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, db.Close()) }()
			if a.json {
				return a.printJSON(db.Site())
			}
			fmt.Fprintf(
				a.Out,
				"data folder %s for %s (%s), days counted in %s\npublic key of the ledger (keep a copy elsewhere):\n  %s\nnext: rinsate import models FILE, then "+
					"fleet, people, meters, lots, levels\nthe site is on trial, and paper decides, until the start is signed: rinsate first-day\n",
				a.data,
				db.Site().Name,
				db.Site().Code,
				db.Site().Zone,
				db.Site().VKey,
			)
			return nil
		},
	}
	c.Flags().StringVar(&site.Code, "site", "", "short code of the site, part of every record")
	c.Flags().StringVar(&site.Name, "name", "", "name of the facility")
	c.Flags().StringVar(&site.Zone, "zone", "", "IANA time zone, such as Europe/Berlin")
	c.Flags().StringVar((*string)(&site.Terms), "terms", string(record.TermsUS), "terms of the trade that people read: us or uk; they stay")
	c.Flags().StringVar(&site.Origin, "origin", "", "name of the ledger in its checkpoints (default rinsate.local/SITE)")
	c.Flags().StringVar(&rules, "rules", "", "rule set (YAML) to adopt")
	c.Flags().StringVar(&by, "by", "", "code of the person who adopts it")
	c.Flags().BoolVar(&pages, "pages", false, "ask for everything in the browser, then serve the pages")
	c.Flags().StringVar(&listen, "listen", usualAddress, "address and port of this computer for --pages")
	for _, name := range required {
		must(c.MarkFlagRequired(name))
	}
	return c
}

func (a setUpCommands) importCommand() *cobra.Command {
	var who actor
	var profile, zone, second string
	var dry bool
	names := make([]string, len(desk.Kinds))
	for i, k := range desk.Kinds {
		names[i] = string(k)
	}
	c := &cobra.Command{
		Use: "import KIND FILE...", Short: "Read CSV files in, each as a whole or not at all",
		Long: `Read CSV files of one kind in. Kinds, in the order in which they build on each other:
  ` + strings.Join(names, ", ") + `
Each file is stored as a whole or, when a line is wrong, not at all. Reading a file in
again stores nothing twice, so an import that was interrupted is simply done again.
What asks for less than before (a simpler model, a higher level, a wider target) takes a
second person, named with --second.
--dry-run says line by line what would happen and stores nothing. --profile names a
YAML file that maps other headers, decimal signs, encodings and date formats;
--columns lists the columns of the kind. "-" reads from standard input.`,
		Args: cobra.MinimumNArgs(1), ValidArgs: names,
		RunE: func(c *cobra.Command, args []string) error {
			kind := desk.Kind(args[0])
			if !slices.Contains(desk.Kinds, kind) {
				return usageError{fmt.Errorf("%q is not a kind of file; allowed: %s", args[0], strings.Join(names, ", "))}
			}
			if columns, err := c.Flags().GetBool("columns"); err == nil && columns {
				return a.printColumns(kind)
			}
			if len(args) < 2 {
				return usageError{errors.New("name the file to read in, or - for standard input")}
			}
			p, err := readProfile(profile, zone)
			if err != nil {
				return err
			}
			return a.open(c.Context(), func(d *desk.Desk) error {
				if p.Time.Zone == "" {
					p.Time.Zone = d.DB.Zone().String()
				}
				if !dry {
					if err := who.sign(c.Context(), a.app, d, desk.ImportOf(kind).Signed); err != nil {
						return err
					}
				}
				for _, name := range args[1:] {
					if err := a.importFile(c.Context(), who.on(d), desk.File{Kind: kind, Name: name, Profile: p, By: who.by, SecondCode: second}, dry); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
	who.named(c, access.Act{Name: desk.ImportName}, "code of the person who answers for the import")
	c.Flags().StringVar(&second, "second", "", "code of the second person, for what asks for less than before")
	c.Flags().StringVar(&profile, "profile", "", "YAML file that describes the CSV files")
	c.Flags().StringVar(&zone, "zone", "", "time zone of the times without an offset that a profile reads (default: the facility's)")
	c.Flags().BoolVar(&dry, "dry-run", false, "say line by line what would happen, store nothing")
	c.Flags().Bool("columns", false, "list the columns of this kind of file")
	return c
}

func (a setUpCommands) printColumns(kind desk.Kind) error {
	type column struct {
		Name     string   `json:"name"`
		Required bool     `json:"required"`
		Kind     string   `json:"kind"`
		Help     string   `json:"help"`
		Allowed  []string `json:"allowed,omitempty"`
	}
	var columns []column
	var rows [][]string
	for _, f := range desk.Columns(kind) {
		columns = append(columns, column{f.Name, f.Required, f.Kind.String(), f.Help, f.Allowed})
		required := ""
		if f.Required {
			required = "required"
		}
		help := f.Help
		if len(f.Allowed) > 0 {
			help += ": " + strings.Join(f.Allowed, ", ")
		}
		rows = append(rows, []string{f.Name, required, f.Kind.String(), help})
	}
	if a.json {
		return a.printJSON(columns)
	}
	a.printTable([]string{"column", "", "holds", "meaning"}, rows)
	return nil
}

func readProfile(name, zone string) (table.Profile, error) {
	var p table.Profile
	if name != "" {
		f, err := os.Open(name)
		if err != nil {
			return p, usageError{fmt.Errorf("profile: %w", err)}
		}
		p, err = table.ParseProfile(name, f)
		if err = errors.Join(err, f.Close()); err != nil {
			return p, err
		}
	}
	if zone != "" {
		p.Time.Zone = zone
	}
	return p, nil
}

// source opens a file, or standard input for "-"; size is zero when it is not known.
func (a setUpCommands) source(name string) (content io.ReadCloser, size int64, err error) {
	if name == "-" {
		return io.NopCloser(a.input()), 0, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, 0, &fault.Error{Code: fault.NotFound, Message: err.Error(), Hint: "check the name of the file"}
	}
	if st, err := f.Stat(); err == nil && st.Mode().IsRegular() {
		size = st.Size()
	}
	return f, size, nil
}

func (a setUpCommands) importFile(ctx context.Context, d desk.Acting, f desk.File, dry bool) (err error) {
	content, size, err := a.source(f.Name)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, content.Close()) }()
	if dry && !a.json {
		f.Tell = func(t desk.Told) {
			what := "store"
			if !t.Fresh {
				what = "known"
			}
			fmt.Fprintf(a.Out, "%s:%d: %s %s\n", f.Name, t.Line, what, t.What)
		}
	}
	counted, stop := a.progress(content, size, f.Name)
	f.Content = counted
	out, err := d.Import(ctx, f, dry)
	stop()
	if err != nil {
		return fmt.Errorf("%s: nothing was stored\n%w", f.Name, err)
	}
	if a.json {
		return a.printJSON(out)
	}
	for _, w := range out.Warnings {
		fmt.Fprintln(a.Err, "warning: "+w)
	}
	if len(out.Ignored) > 0 {
		fmt.Fprintf(a.Err, "note: columns not read: %s\n", strings.Join(out.Ignored, ", "))
	}
	verb := "stored"
	if dry {
		verb = "would be stored"
	}
	fmt.Fprintf(a.Out, "%s: %d rows, %d %s, %d known already\n", f.Name, out.Rows, out.Stored, verb, out.Known)
	for _, x := range out.Signals {
		fmt.Fprintf(a.Out, "! %s, %s: %s. %s\n", x.Key.Scope, x.Key.Point, a.terms.direction(x.Direction), x.First.Words)
	}
	return nil
}

// progress counts on standard error how much of a file is read, when that is a terminal and the size is
// known.
func (a setUpCommands) progress(r io.Reader, size int64, name string) (io.Reader, func()) {
	terminal := a.talk
	if terminal == nil || size == 0 || a.json || !term.IsTerminal(terminal.Fd()) {
		return r, func() {}
	}
	name = text.Line(filepath.Base(name))
	shown := int64(-1)
	counted := table.Progress(r, func(n int64) {
		if percent := min(n, size) * 100 / size; percent != shown {
			shown = percent
			fmt.Fprintf(terminal, "\r%s %d %%", name, percent)
		}
	})
	const wipe = "\r\x1b[K" // ECMA-48: back to the begin of the line, and erase it
	return counted, func() { fmt.Fprint(terminal, wipe) }
}

func (a setUpCommands) rulesCommand() *cobra.Command {
	c := &cobra.Command{Use: "rules", Short: "Print, check and adopt rule sets", Args: cobra.NoArgs}
	var current bool
	show := &cobra.Command{
		Use: "show", Short: "Print the rule set to start from, or with --current the one in force", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if !current {
				_, err := a.Out.Write(policy.Preset())
				return err
			}
			return a.view(c, func(v desk.View) error {
				text, err := v.Registry().RuleText(v.Now())
				if err == nil {
					_, err = io.WriteString(a.Out, text.Text)
				}
				return err
			})
		},
	}
	show.Flags().BoolVar(&current, "current", false, "the rule set in force")
	levels := &cobra.Command{
		Use: "levels", Short: "List the published limits from which a facility may make levels of its own", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			templates := policy.Templates()
			if a.json {
				return a.printJSON(templates)
			}
			rows := make([][]string, len(templates))
			for i, t := range templates {
				alert := ""
				if t.Alert > 0 {
					alert = t.Alert.String()
				}
				rows[i] = []string{t.Name, string(t.Analyte), alert, t.Action.String(), string(t.Unit), string(t.Comparison), t.Citation}
			}
			a.printTable([]string{"name", "analyte", "alert", "action", "unit", "over means", "source"}, rows)
			fmt.Fprintln(a.Out, "\nA level exists only when a facility adopts one for its own meter system, kit and way of sampling.")
			return nil
		},
	}
	check := &cobra.Command{
		Use: "check FILE", Short: "Check a rule set and list what nobody has verified yet", Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			text, err := os.ReadFile(args[0])
			if err != nil {
				return usageError{err}
			}
			rules, err := policy.Parse(args[0], text)
			if err != nil {
				return err
			}
			open := rules.Unverified()
			if a.json {
				return a.printJSON(struct {
					Name       string   `json:"name"`
					Edition    string   `json:"edition"`
					Digest     string   `json:"sha256"`
					Unverified []string `json:"unverified"`
				}{rules.Name, rules.Edition, rules.Digest, open})
			}
			fmt.Fprintf(a.Out, "%s can be adopted (SHA-256 %s)\n", rules.Cite(), rules.Digest)
			for _, u := range open {
				fmt.Fprintln(a.Out, "  not verified: "+u)
			}
			return nil
		},
	}
	var who actor
	var from, second string
	var slip bool
	adopt := &cobra.Command{
		Use: "adopt FILE", Short: "Adopt a rule set as the facility's policy; earlier decisions keep theirs",
		Long: `Adopt a rule set as the facility's policy; it acts from its signature, and --from names no day
ahead. A requirement that begins later says so in the text, with starts: and the day.
Earlier decisions keep the edition that made them. One that asks for less than an edition in
force takes a second person and serves only cycles that begin after it: of a cycle under way
the stricter of the two is asked, unless the two say with --slip that the edition in force
was a slip.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			text, err := os.ReadFile(args[0])
			if err != nil {
				return usageError{err}
			}
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				at, err := instant(from, w.Zone(), w.Now())
				if err != nil {
					return desk.Receipt{}, err
				}
				r, _, err := w.SettingUp().AdoptRules(e, desk.Adoption{At: at, Name: filepath.Base(args[0]), Text: text, Second: second, Slip: slip})
				return r, err
			}, "%s is adopted", args[0])
		},
	}
	who.flags(adopt, desk.ToAdoptRules, true)
	adopt.Flags().StringVar(&second, "second", "", "code of a second person, for a rule set that asks for less")
	adopt.Flags().BoolVar(&slip, "slip", false, "the edition in force was a slip and does not count for what is under way either")
	adopt.Flags().StringVar(&from, "from", "", "the day that the record names, none ahead; it acts from its signature at the earliest (default now)")
	c.AddCommand(show, levels, check, adopt)
	return c
}

func (a setUpCommands) fleetCommand() *cobra.Command {
	return &cobra.Command{
		Use: "fleet", Short: "List the scopes with their models and sampling points", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				fleet, err := v.Day().Fleet()
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(fleet)
				}
				rows := make([][]string, len(fleet))
				for i, m := range fleet {
					rows[i] = []string{
						m.Instrument.Tag,
						m.Instrument.Model,
						string(m.Kind),
						string(m.Risk),
						a.terms.Owner(m.Instrument.Owner),
						m.Instrument.Location,
						strings.Join(m.Points, ", "),
					}
				}
				a.printTable([]string{"scope", "model", "kind", "risk", "owner", "location", "routine points"}, rows)
				return nil
			})
		},
	}
}

func (a setUpCommands) unrecallCommand() *cobra.Command {
	var who actor
	var reason, second string
	c := &cobra.Command{
		Use: "unrecall KIT LOT", Short: "Take the recall of a lot back, with a second person",
		Long: `Take back the recall of a lot that was recalled by mistake. It takes a second person who is
registered here and took no part in the recall. A file of lots never takes a recall back.`,
		Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			e.Reason = reason
			key := quality.Lot{Kit: args[0], Lot: args[1]}.Key()
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				all, err := w.Records().Editions(record.Lot, key)
				if err != nil {
					return desk.Receipt{}, err
				}
				base, _ := desk.Latest(all)
				return w.SettingUp().TakeBackRecall(e, key, ledger.ID(base.ID), second)
			}, "the recall of lot %s of kit %s is taken back", args[1], args[0])
		},
	}
	who.flags(c, desk.ToTakeBackRecall, true)
	c.Flags().StringVar(&reason, "reason", "", "why it was a mistake")
	c.Flags().StringVar(&second, "second", "", "code of the second person")
	must(c.MarkFlagRequired("reason"))
	must(c.MarkFlagRequired("second"))
	return c
}
