package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"rinsate/internal/store/bundle"

	"github.com/spf13/cobra"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
)

func (a proofCommands) backupCommand() *cobra.Command {
	var to string
	c := &cobra.Command{
		Use: "backup", Short: "Write one file with what a data folder needs, but for the key of the patients' numbers",
		Long: `Write one file with what the data folder needs to be of use again, but for
patients.key: the database as it is at this moment, with attached files, texts, accounts
and the sealed numbers of patients, the key that signs the ledger, and a checkpoint
signed for exactly its records. It is a tar file that only its owner may read. The
pages may be served meanwhile.

The copy is proved before the file gets its name: every record is hashed, every table
compared with what follows from the records. A copy that is not whole leaves no file.
A file that is there is never overwritten. It takes twice the space of the database in
the file's folder while it is written.

Keep it as you keep the data folder: texts in it may name patients, and whoever has it
can sign. patients.key, which opens the patients' numbers, is not in it: keep a copy of
that elsewhere.
What is erased later is still in it. Put one on another disk every day, and prove now
and then that it can be restored: rinsate --data a-new-folder restore --from FILE`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			b, err := sqlite.Folder(a.data).Backup(c.Context(), to, a.clock)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(struct {
					File string `json:"file"`
					bundle.Backup
				}{to, b})
			}
			fmt.Fprintf(a.Out, "%s: %d records of %s as of %s are whole\nroot %s\n", to, b.Size, b.Site, b.Made, b.Root)
			return nil
		},
	}
	c.Flags().StringVar(&to, "to", "", "file to write, such as /media/stick/rinsate-monday.tar")
	must(c.MarkFlagRequired("to"))
	return c
}

func (a proofCommands) restoreCommand() *cobra.Command {
	var who actor
	var from string
	var inPlace bool
	c := &cobra.Command{
		Use: "restore", Short: "Put a backup in place, or say that the data folder is a copy that was put back",
		Long: `Put a backup in place: with --from FILE a new data folder is made of it, named with --data,
where there is nothing yet. The backup is proved first: the hash of every file in it,
of every record, and every table against the records.

A data folder that was copied back by hand is told of with --in-place.

Either way all sessions end, and a record says who restored what, and when. Nobody can
tell what happened since the copy was made, so that no scope is ready: each is
reprocessed once, with the soak of delayed reprocessing, or the lead and a second
person say that nothing happened to it: rinsate restore nothing-since
Holds stay as the copy has them; place again those that came after it. Accounts, roles
and passwords are those of the copy: look them through.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			say := func(d *desk.Desk, told reprocessing.RestoreAct, copied unit.Instant) error {
				return who.do(c.Context(), a.app, d, func(w *desk.Work) error {
					_, err := w.Care().SayRestored(e, told, copied)
					return err
				})
			}
			switch {
			case inPlace == (from != ""):
				return usageError{errors.New("either --from FILE or --in-place\nhint: rinsate restore --help")}
			case inPlace:
				err = a.openCopy(c.Context(), func(d *desk.Desk) error { return say(d, reprocessing.InPlace, 0) })
			default:
				_, err = sqlite.Folder(a.data).Restore(c.Context(), from, a.clock, func(db *store.DB, b bundle.Backup) error {
					return say(desk.New(db), reprocessing.FromFile, b.Made)
				})
			}
			if err != nil {
				return err
			}
			// Opened once more as any program does, which shows that it can be, and keeps how far its records go.
			return a.open(c.Context(), func(d *desk.Desk) error { return d.View(c.Context(), a.showRestored) })
		},
	}
	who.flags(c, desk.ToSayRestored, true)
	c.Flags().StringVar(&from, "from", "", "backup to restore; --data names the new folder")
	c.Flags().BoolVar(&inPlace, "in-place", false, "the data folder is a copy that was put back by hand")
	c.AddCommand(a.showRestoreCommand(), a.nothingSinceCommand())
	return c
}

// openCopy opens a data folder that somebody is about to say is a copy.
func (a *app) openCopy(ctx context.Context, work func(*desk.Desk) error) (err error) {
	db, err := a.home(a.data).OpenCopy(ctx, a.clock)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	return work(desk.New(db))
}

func (a proofCommands) showRestoreCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show", Short: "Show the last restore and the scopes that it leaves not known",
		Long: `Show the last restore, and the scopes of which nobody knows since what happened to them
between the copy and the restore.
Exit code 0: none, 4: there are some, or the records are a copy of which nobody has said so.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.look(c.Context(), func(d *desk.Desk) error {
				if d.Behind() != "" {
					a.code = exitNotNow
				}
				return d.View(c.Context(), func(v desk.View) error {
					r, err := v.Day().Restored(v.Now())
					if err != nil {
						return err
					}
					if r != nil && len(r.Scopes) > 0 {
						a.code = exitNotNow
					}
					return a.printRestored(v, r)
				})
			})
		},
	}
}

// showRestored prints what is known of the last restore.
func (a proofCommands) showRestored(v desk.View) error {
	r, err := v.Day().Restored(v.Now())
	if err != nil {
		return err
	}
	return a.printRestored(v, r)
}

func (a proofCommands) printRestored(v desk.View, r *desk.Restored) error {
	if a.json {
		return a.printJSON(struct {
			Restored *desk.Restored `json:"restored"`
		}{r})
	}
	if r == nil {
		fmt.Fprintln(a.Out, "no restore is on record")
		return nil
	}
	n := r.Note
	fmt.Fprintf(a.Out, "%s at %s by %s; the copy was made at %s, root %s: record %s\n",
		n.Words(), n.At.In(v.Zone()), n.By, n.Copied.In(v.Zone()), n.Root, r.ID)
	if n.Missing > 0 {
		fmt.Fprintf(a.Out, "at least %d records are lost\n", n.Missing)
	}
	if len(r.Scopes) == 0 {
		fmt.Fprintln(a.Out, "no scope is left not known by it")
		return nil
	}
	fmt.Fprintf(a.Out, "%d scopes are not known: reprocess each once, or say that nothing happened to them: rinsate restore nothing-since\n", len(r.Scopes))
	rows := make([][]string, len(r.Scopes))
	for i, s := range r.Scopes {
		last := "nothing"
		if s.Last.Known() {
			last = s.Last.In(v.Zone())
		}
		rows[i] = []string{s.Scope, last}
	}
	a.printTable([]string{"scope", "last on record before the copy"}, rows)
	return nil
}

// waysToKnow lists by what people can know that nothing happened.
func waysToKnow() string {
	var all strings.Builder
	for _, k := range reprocessing.HowsKnown {
		fmt.Fprintf(&all, "\n  %s: %s", k, k.Words())
	}
	return all.String()
}

func (a proofCommands) nothingSinceCommand() *cobra.Command {
	var who actor
	var second, known string
	var all bool
	c := &cobra.Command{
		Use: "nothing-since [SCOPE...]", Short: "Record that nothing happened to scopes since the copy was made",
		Long: `Record that nothing happened to scopes since the copy that was restored last was made: no
use, no step, no sample, no test, no hold. It takes two people, one of them the lead. What
is ready by the copy is ready again; no hold ends by it.
Ways to know it:` + waysToKnow(),
		RunE: func(c *cobra.Command, args []string) error {
			if all == (len(args) > 0) {
				return usageError{errors.New("name the scopes, or all that are not known with --all")}
			}
			e, err := who.entry()
			if err != nil {
				return err
			}
			scopes := args
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				if all {
					r, err := w.Day().Restored(w.Now())
					if err != nil {
						return desk.Receipt{}, err
					}
					scopes = nil
					if r != nil {
						for _, s := range r.Scopes {
							scopes = append(scopes, s.Scope)
						}
					}
				}
				return w.Care().SayNothingSince(e, scopes, reprocessing.HowKnown(known), second)
			}, "it is on record that nothing happened since the copy")
		},
	}
	who.flags(c, desk.ToSayNothingSince, true)
	c.Flags().StringVar(&second, "second", "", "code of the second person")
	c.Flags().StringVar(&known, "known", "", "how that is known: "+strings.ReplaceAll(scope.Words(reprocessing.HowsKnown), ", ", " | "))
	c.Flags().BoolVar(&all, "all", false, "all scopes that the last restore leaves not known")
	must(c.MarkFlagRequired("second"))
	must(c.MarkFlagRequired("known"))
	return c
}
