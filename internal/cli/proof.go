package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
)

// proofCommands are those that prove what is on record.
type proofCommands struct{ *app }

func (a proofCommands) ledgerCommand() *cobra.Command {
	c := &cobra.Command{Use: "ledger", Short: "Verify, prove, export and rebuild the ledger", Args: cobra.NoArgs}
	c.AddCommand(a.verifyCommand(), a.proofCommand(), a.checkProofCommand(), a.exportCommand(), a.rebuildCommand(), a.showCommand(), a.keyCommand())
	return c
}

func (a proofCommands) verifyCommand() *cobra.Command {
	var keys []string
	var older []string
	c := &cobra.Command{
		Use: "verify [EXPORT]", Short: "Re-hash every record and compare with the signed checkpoints",
		Long: `Re-hash every record and compare the tree with the head and with every signed
checkpoint. Without an argument the data folder is verified, with every attached file
and every free text, and every table is compared with what follows from the records;
with the folder of an export, that is, with the texts if it holds them, and nothing but
its bytes and the keys given with --key is trusted. A fault names the first bad record.
Exit code 1: a fault, or tables that differ.

What this cannot show: that a value was true when it was typed, that nothing was left
unrecorded, and that a claimed time is right beyond the bounds of the checkpoints.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			keys := keyTexts(keys)
			if len(args) == 1 {
				return a.verifyExport(args[0], keys, older)
			}
			return a.verifyFolder(c.Context(), keys, older)
		},
	}
	c.Flags().StringSliceVar(&keys, "key", nil, "public key of the ledger, or a file that holds it (default: the data folder's own)")
	c.Flags().StringSliceVar(&older, "older", nil, "files of older checkpoints that the records must begin with")
	return c
}

// verifyFolder verifies the data folder. With a key of its own choice nothing is kept of what is found, since
// another key than the ledger's says nothing of it.
func (a proofCommands) verifyFolder(ctx context.Context, keys, older []string) error {
	notes, err := readNotes(older)
	if err != nil {
		return err
	}
	before, err := a.home(a.data).Examined()
	if err != nil {
		return err
	}
	var v store.Verified
	if len(keys) > 0 {
		v, err = a.home(a.data).Verify(ctx, keys, nil)
	} else {
		v, _, err = store.Examine(ctx, a.home(a.data), "verify", a.clock)
	}
	if err, err2 := a.unkept(err); err != nil || err2 != nil {
		return broken(errors.Join(err, err2))
	}
	begins, err := a.beginsWith(ctx, notes, keys)
	if err != nil {
		return broken(err)
	}
	if len(v.Tables)+len(v.Guards) > 0 {
		a.code = exitError
	}
	if a.json {
		return a.printJSON(struct {
			store.Verified
			Older  []int64            `json:"older,omitempty"`
			Before *store.Examination `json:"examined_before,omitempty"`
		}{v, begins, found(before)})
	}
	fmt.Fprintf(a.Out, "site %s: %d records are whole\nroot %s, under %d signed checkpoints\n", v.Site, v.Size, v.Root, v.Checkpoints)
	if v.Files > 0 {
		fmt.Fprintf(a.Out, "%d attached files are whole\n", v.Files)
	}
	if v.Texts.Whole+v.Texts.Erased > 0 {
		fmt.Fprintf(a.Out, "%d texts are whole, %d were erased\n", v.Texts.Whole, v.Texts.Erased)
	}
	for i, size := range begins {
		fmt.Fprintf(a.Out, "they begin with the %d records that %s was signed for\n", size, older[i])
	}
	for _, f := range tableFindings(v) {
		fmt.Fprintln(a.Out, f.Say)
	}
	if before.At.Known() {
		fmt.Fprintf(a.Out, "last looked at %s (%s): the tables %s\n", before.At, before.By, before)
	}
	return nil
}

// found is what was found, nil when nobody has looked.
func found(e store.Examination) *store.Examination {
	if !e.At.Known() {
		return nil
	}
	return &e
}

// tableFindings are what a verification found beside the records.
func tableFindings(v store.Verified) []finding {
	var all []finding
	add := func(what string, good bool, format string, args ...any) {
		all = append(all, finding{what, good, fmt.Sprintf(format, args...)})
	}
	for _, d := range v.Tables {
		add("tables", false, "%s does not follow from the records: another program has written to the database; start the program, or run: rinsate ledger rebuild", d)
	}
	if len(v.Tables) == 0 {
		add("tables", true, "all tables follow from the records")
	}
	if n := len(v.Guards); n > 0 {
		add("guards", false, "what keeps other programs from changing the tables is damaged (%d: %s, …); put it right with: rinsate ledger rebuild", n, v.Guards[0])
	}
	if v.Alone {
		add("checkpoint", true, "there is no checkpoint.txt beside the database, so that a cut-off end would not show; "+
			"it is written at the next clean end of the program")
	}
	return all
}

// unkept says on the screen that what was found could not be kept, and returns every other error.
func (a proofCommands) unkept(err error) (other, failed error) {
	if e, ok := errors.AsType[*store.NotKeptError](err); ok && len(unjoined(err)) <= 1 {
		_, failed = fmt.Fprintln(a.Err, e.Error())
		return nil, failed
	}
	return err, nil
}

// unjoined are the errors that were joined.
func unjoined(err error) []error {
	if all, ok := err.(interface{ Unwrap() []error }); ok {
		return all.Unwrap()
	}
	return []error{err}
}

// beginsWith holds the records of the folder against older checkpoints and returns how many records each was signed
// for.
func (a proofCommands) beginsWith(ctx context.Context, notes [][]byte, keys []string) (sizes []int64, err error) {
	for _, note := range notes {
		c, err := a.home(a.data).BeginsWith(ctx, note, keys)
		if err != nil {
			return nil, err
		}
		sizes = append(sizes, c.Size)
	}
	return sizes, nil
}

func readNotes(names []string) (notes [][]byte, err error) {
	for _, name := range names {
		note, err := os.ReadFile(name)
		if err != nil {
			return nil, usageError{err}
		}
		notes = append(notes, note)
	}
	return notes, nil
}

// broken gives a fault of the ledger the hint that belongs to it.
func broken(err error) error {
	if f, ok := errors.AsType[*ledger.FaultError](err); ok {
		return &fault.Error{
			Code:    fault.Broken,
			Message: f.Error(),
			Hint:    "change nothing, keep a copy of the folder as it is, and compare it with the last backup and with checkpoints kept elsewhere",
			Cause:   err,
		}
	}
	return err
}

func (a proofCommands) verifyExport(folder string, keys, older []string) error {
	if len(keys) == 0 {
		return usageError{errors.New("an export is verified with a key that comes from elsewhere: give it with --key")}
	}
	notes, err := readNotes(older)
	if err != nil {
		return err
	}
	report, err := ledger.VerifyExport(os.DirFS(folder), keys, notes...)
	if err != nil {
		return broken(err)
	}
	if a.json {
		return a.printJSON(struct {
			Origin string `json:"origin"`
			Site   string `json:"site"`
			Size   int64  `json:"size"`
			Root   string `json:"root"`
			Texts  int    `json:"texts,omitempty"`
		}{report.Origin, report.Site, report.Size, report.Root.String(), report.Texts})
	}
	fmt.Fprintf(a.Out, "%s, site %s: %d records are whole\nroot %s\n", report.Origin, report.Site, report.Size, report.Root)
	if report.Texts > 0 {
		fmt.Fprintf(a.Out, "%d texts beside them are those that the records commit to\n", report.Texts)
	}
	return nil
}

func (a proofCommands) proofCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use: "proof RECORD", Short: "Write a record and the offline proof that the ledger holds it",
		Long: `Write a record as NAME.json and the proof that the ledger holds it as NAME.tlog-proof
(C2SP tlog-proof). An outsider needs only these two and the public key.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.look(c.Context(), func(d *desk.Desk) error {
				var line desk.Line
				if err := d.View(c.Context(), func(v desk.View) (err error) {
					line, err = v.Show(args[0])
					return err
				}); err != nil {
					return err
				}
				proof, record, err := d.DB.Prove(c.Context(), ledger.ID(line.ID))
				if err != nil {
					return err
				}
				name := filepath.Join(out, line.ID)
				if err := os.MkdirAll(out, 0o700); err != nil {
					return err
				}
				if err := errors.Join(
					os.WriteFile(name+".json", record, 0o600),
					os.WriteFile(name+".tlog-proof", proof.Text(), 0o600),
				); err != nil {
					return err
				}
				if a.json {
					return a.printJSON(map[string]string{"record": name + ".json", "proof": name + ".tlog-proof", "vkey": d.DB.Site().VKey})
				}
				fmt.Fprintf(a.Out, "%s.json\n%s.tlog-proof\nverify with the public key\n  %s\n", name, name, d.DB.Site().VKey)
				return nil
			})
		},
	}
	c.Flags().StringVar(&out, "out", ".", "folder to write to")
	return c
}

func (a proofCommands) checkProofCommand() *cobra.Command {
	var keys []string
	c := &cobra.Command{
		Use: "check-proof RECORD.json PROOF", Short: "Check the offline proof that a ledger holds a record; needs no data folder",
		Args: cobra.ExactArgs(2),
		RunE: func(_ *cobra.Command, args []string) error {
			record, err := os.ReadFile(args[0])
			if err != nil {
				return usageError{err}
			}
			proof, err := os.ReadFile(args[1])
			if err != nil {
				return usageError{err}
			}
			checkpoint, err := ledger.VerifyProof(proof, record, keyTexts(keys))
			if err != nil {
				return &fault.Error{
					Code:    fault.Broken,
					Message: "the proof does not hold: " + err.Error(),
					Hint:    "check that record, proof and key belong together; if they do, the record is not the one that was kept",
					Cause:   err,
				}
			}
			if a.json {
				return a.printJSON(map[string]any{"origin": checkpoint.Origin, "size": checkpoint.Size, "root": checkpoint.Root.String()})
			}
			fmt.Fprintf(a.Out, "the ledger %s contained this record when it had %d records\n", checkpoint.Origin, checkpoint.Size)
			return nil
		},
	}
	c.Flags().StringSliceVar(&keys, "key", nil, "public key of the ledger, or a file that holds it")
	must(c.MarkFlagRequired("key"))
	return c
}

// keyTexts reads the keys that were given as files.
func keyTexts(keys []string) []string {
	texts := make([]string, len(keys))
	for i, k := range keys {
		texts[i] = k
		if text, err := os.ReadFile(k); err == nil {
			texts[i] = strings.TrimSpace(string(text))
		}
	}
	return texts
}

func (a proofCommands) exportCommand() *cobra.Command {
	var texts bool
	c := &cobra.Command{
		Use: "export FOLDER", Short: "Write the whole ledger as static files that an outsider can verify",
		Long: `Write the whole ledger into a new folder as static files (C2SP tlog-tiles) with a signed
checkpoint. It holds no patient's number and no free text: only commitments to them.
With --texts the texts are written beside it, so that whoever gets both can check them.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.look(c.Context(), func(d *desk.Desk) error {
				size, err := d.DB.Export(c.Context(), args[0])
				if err != nil {
					return err
				}
				count := 0
				if texts {
					if count, err = store.ExportTexts(c.Context(), d.DB, size, filepath.Join(args[0], ledger.TextsFile)); err != nil {
						return err
					}
				}
				if a.json {
					return a.printJSON(map[string]any{"folder": args[0], "size": size, "texts": count, "vkey": d.DB.Site().VKey})
				}
				fmt.Fprintf(a.Out, "%d records in %s\n", size, args[0])
				if texts {
					fmt.Fprintf(a.Out, "%d texts in %s: they may name people, and cannot be erased where this file is kept\n", count, ledger.TextsFile)
				}
				fmt.Fprintf(a.Out, "verify with: rinsate ledger verify %s --key %s\n", args[0], d.DB.Site().VKey)
				return nil
			})
		},
	}
	c.Flags().BoolVar(&texts, "texts", false, "write the free texts with their salts beside the export")
	return c
}

func (a proofCommands) rebuildCommand() *cobra.Command {
	return &cobra.Command{
		Use: "rebuild", Short: "Throw away every table that is not the ledger and fill it again from the records", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			size, err := a.home(a.data).Rebuild(c.Context(), nil)
			if err != nil {
				return err
			}
			// What was found before holds no more.
			_, _, err = store.Examine(c.Context(), a.home(a.data), "rebuild", a.clock)
			if err, failed := a.unkept(err); err != nil || failed != nil {
				return broken(errors.Join(err, failed))
			}
			if a.json {
				return a.printJSON(map[string]int64{"records": size})
			}
			fmt.Fprintf(a.Out, "tables rebuilt from %d records\n", size)
			return nil
		},
	}
}

func (a proofCommands) showCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show RECORD", Short: "Show one record by its id or the beginning of it", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				line, err := v.Show(args[0])
				if err != nil {
					return err
				}
				return a.printJSON(line)
			})
		},
	}
}

func (a proofCommands) keyCommand() *cobra.Command {
	return &cobra.Command{
		Use: "key", Short: "Print the public key that verifies the ledger", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.look(c.Context(), func(d *desk.Desk) error {
				if a.json {
					return a.printJSON(d.DB.Site())
				}
				fmt.Fprintln(a.Out, d.DB.Site().VKey)
				return nil
			})
		},
	}
}

// finding is one line of the doctor's.
type finding struct {
	What string `json:"what"`
	Good bool   `json:"good"`
	Say  string `json:"say"`
}

func (a proofCommands) doctorCommand() *cobra.Command {
	return &cobra.Command{
		Use: "doctor", Short: "Look the data folder over and say what needs care", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var findings []finding
			add := func(what string, good bool, format string, args ...any) {
				findings = append(findings, finding{what, good, fmt.Sprintf(format, args...)})
			}
			// Before the folder is opened, which mends both.
			alone := !sqlite.HasCheckpoint(a.data)
			open, lookErr := sqlite.ReadByOthers(a.data)
			err := a.open(c.Context(), func(d *desk.Desk) error { return examine(c, d, add) })
			if fault.CodeOf(err) == fault.Busy { // it is served, and what can be looked at beside that is
				add("in use", true, "%s", strings.ReplaceAll(err.Error(), "\n", "; "))
				err = a.look(c.Context(), func(d *desk.Desk) error { return examine(c, d, add) })
			}
			switch {
			case lookErr != nil:
				add("rights", false, "who may read the data folder cannot be told: %v", lookErr)
			case len(open) > 0:
				add("rights", false, "others than the owner could read %s; every start of the program takes that from them, as this one did where it can",
					strings.Join(open, ", "))
			case err == nil:
				add("rights", true, "only the owner may read the data folder")
			}
			if alone && err == nil {
				add("checkpoint", false, "there was no checkpoint.txt beside the database, so that a cut-off end would not have shown; "+
					"compare with one kept elsewhere: rinsate ledger verify --older FILE")
			}
			if err != nil {
				add("start", false, "%s", strings.ReplaceAll(err.Error(), "\n", "; "))
			} else if v, err := a.examineAll(c.Context(), add); err != nil {
				add("ledger", false, "%v", err)
			} else {
				add("ledger", true, "%d records are whole, under %d signed checkpoints", v.Size, v.Checkpoints)
				if v.Files > 0 {
					add("files", true, "%d attached files are whole", v.Files)
				}
				if v.Texts.Whole+v.Texts.Erased > 0 {
					add("texts", true, "%d texts are whole, %d were erased", v.Texts.Whole, v.Texts.Erased)
				}
				findings = append(findings, tableFindings(v)...)
			}
			for _, f := range findings {
				if !f.Good {
					a.code = exitError
				}
			}
			if a.json {
				return a.printJSON(findings)
			}
			rows := make([][]string, len(findings))
			for i, f := range findings {
				mark := "✓"
				if !f.Good {
					mark = "✗"
				}
				rows[i] = []string{mark, f.What, f.Say}
			}
			a.printTable([]string{"", "what", ""}, rows)
			return nil
		},
	}
}

// examineAll says when all records and tables were last looked at, and looks at them.
func (a proofCommands) examineAll(ctx context.Context, add func(what string, good bool, format string, args ...any)) (store.Verified, error) {
	before, err := a.home(a.data).Examined()
	if err != nil {
		return store.Verified{}, err
	}
	if before.At.Known() {
		add("last look", before.Good(), "%s (%s), %d records: the tables %s", before.At, before.By, before.Size, before)
	} else {
		add("last look", true, "nobody has compared the tables with the records before")
	}
	v, _, err := store.Examine(ctx, a.home(a.data), "doctor", a.clock)
	err, failed := a.unkept(err)
	return v, errors.Join(err, failed)
}

// examine looks at what a data folder that can be opened needs to be of use.
func examine(c *cobra.Command, d *desk.Desk, add func(what string, good bool, format string, args ...any)) error {
	add("start", true, "head, last record, tables and checkpoint agree")
	if why := d.Behind(); why != "" {
		add("copy", false, "%s Say so with: rinsate restore --in-place", why)
	}
	free, err := sqlite.FreeSpace(d.DB.Home().Dir())
	switch {
	case err != nil:
		add("disk", false, "free space cannot be read: %v", err)
	default:
		add("disk", free >= 1<<30, "%.1f GB free; at least 1 GB is advised", float64(free)/(1<<30))
	}
	if err := d.DB.PatientKey(); err != nil {
		add("patients", false, "%s", strings.ReplaceAll(err.Error(), "\n", "; "))
	} else {
		add("patients", true, "the key of their numbers is there")
	}
	return d.View(c.Context(), func(v desk.View) error {
		rules, err := v.Registry().Rules(v.Now(), store.Forever)
		if err != nil {
			add("rules", false, "%s", strings.ReplaceAll(err.Error(), "\n", "; "))
		} else if n := len(rules.Unverified()); n > 0 {
			add("rules", true, "%s is in force; %d of its rules are marked as not verified: see them with: rinsate rules check", rules.Cite(), n)
		} else {
			add("rules", true, "%s is in force", rules.Cite())
		}
		fleet, err := v.Day().Fleet()
		if err != nil {
			return err
		}
		add("fleet", len(fleet) > 0, "%d scopes", len(fleet))
		levels, err := v.Registry().Levels()
		if err != nil {
			return err
		}
		add("levels", len(levels) > 0, "%d levels; a point without a level has no outcome", len(levels))
		return nil
	})
}

func (a proofCommands) manCommand() *cobra.Command {
	return &cobra.Command{
		Use: "man FOLDER", Short: "Write the manual pages", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return err
			}
			now := a.clock()
			return doc.GenManTree(c.Root(), &doc.GenManHeader{Section: "1", Source: "Rinsate", Date: &now}, args[0])
		},
	}
}
