package cli

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/record"
	"rinsate/internal/store/sqlite"
)

// patientCommands are those with the numbers of patients.
type patientCommands struct{ *app }

func (a patientCommands) patientCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "patient", Short: "Reveal, find or erase the number of a patient, with a reason and on record",
		Long: `Reveal, find or erase the number of a patient. The numbers are kept outside of the ledger,
sealed with a key in a file of its own (--patient-key), without which nobody can read
them. Whatever is done with a number is on record: who, when, for which use and why, and
never the number.

` + signed,
	}
	c.AddCommand(a.showCommand(), a.usesCommand(), a.eraseCommand(), a.keyCommand())
	return c
}

// reason adds the flag that says why.
func reason(c *cobra.Command, into *string) {
	c.Flags().StringVar(into, "reason", "", "why; no number and no name of a patient in it")
	must(c.MarkFlagRequired("reason"))
}

func (a patientCommands) showCommand() *cobra.Command {
	var who actor
	var why string
	c := &cobra.Command{
		Use: "show USE", Short: "Show the number of the patient of a use", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.open(c.Context(), func(d *desk.Desk) error {
				var number string
				var r desk.Receipt
				err := who.do(c.Context(), a.app, d, func(w *desk.Work) error {
					use, err := w.Show(args[0])
					if err != nil {
						return err
					}
					number, r, err = w.OnPatients().RevealPatient(e, ledger.ID(use.ID), why)
					return err
				})
				if err != nil { // nothing is shown of what is not on record
					return err
				}
				return a.onRecord(r, struct {
					printedReceipt
					Number string `json:"number"`
				}{receiptJSON(r), number}, func() { fmt.Fprintf(a.Out, "%s\n", number) })
			})
		},
	}
	who.flags(c, desk.ToRevealPatient, true)
	reason(c, &why)
	return c
}

func (a patientCommands) usesCommand() *cobra.Command {
	var who actor
	var why string
	c := &cobra.Command{
		Use: "uses", Short: "List all uses of scopes on a patient, whose number is asked for", Args: cobra.NoArgs,
		Long: `List all uses of scopes on a patient. The number is asked for, or is the first line of
standard input: on a command line others could read it. That no use is found does not
show that the patient was never here, since a use can be recorded without a number.`,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			number, err := a.number()
			if err != nil {
				return err
			}
			return a.open(c.Context(), func(d *desk.Desk) error {
				var uses []desk.PatientUse
				var r desk.Receipt
				var found desk.SoughtPatient
				err := d.View(c.Context(), func(v desk.View) (err error) {
					found, err = desk.SeekPatient(v, number)
					return err
				})
				if err != nil {
					return err
				}
				err = who.do(c.Context(), a.app, d, func(w *desk.Work) (err error) {
					uses, r, err = w.OnPatients().FindPatient(e, found, why)
					return err
				})
				if err != nil {
					return err
				}
				return a.onRecord(r, struct {
					printedReceipt
					Uses []desk.PatientUse `json:"uses"`
				}{receiptJSON(r), uses}, func() { a.printUses(uses, d.DB.Zone()) })
			})
		},
	}
	who.flags(c, desk.ToFindPatient, true)
	reason(c, &why)
	return c
}

func (a patientCommands) printUses(uses []desk.PatientUse, zone *time.Location) {
	rows := make([][]string, len(uses))
	for i, u := range uses {
		end := "not on record"
		if u.EndNotKnown {
			end = "not known"
		}
		if u.End.Known() {
			end = u.End.In(zone)
		}
		rows[i] = []string{u.Scope, u.Start.In(zone), end, u.Procedure, u.Room, short(string(u.ID))}
	}
	a.printTable([]string{"scope", "begun", "ended", "procedure", "room", "record"}, rows)
}

func (a patientCommands) eraseCommand() *cobra.Command {
	var who actor
	var why string
	c := &cobra.Command{
		Use: "erase USE", Short: "Erase the number of the patient of a use for good", Args: cobra.ExactArgs(1),
		Long: `Erase the number of the patient of a use for good. It is gone for all uses of that patient,
which the ledger still shows to be of one patient; nobody can say any more of whom. The
records and the ledger stay. A backup still has the number: see to these too.`,
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				use, err := w.Show(args[0])
				if err != nil {
					return desk.Receipt{}, err
				}
				return w.OnPatients().ErasePatient(e, ledger.ID(use.ID), why)
			}, "the number of the patient of use %s is erased", args[0])
		},
	}
	who.flags(c, desk.ToErasePatient, true)
	reason(c, &why)
	return c
}

func (a patientCommands) keyCommand() *cobra.Command {
	var made bool
	c := &cobra.Command{
		Use: "key", Short: "Say whether the key of the patients' numbers is there, or make a new one", Args: cobra.NoArgs,
		Long: `Say whether the key of the patients' numbers is there. --new makes another one where none
is: only when the first one is lost for good, since what was sealed with that stays sealed.

The key lies in the data folder unless --patient-key names another file. Whoever has a
copy of the data folder with the key can read the numbers: keep the key on another disk,
and a copy of it where the backups are not.`,
		RunE: func(c *cobra.Command, _ []string) error {
			if made {
				path, err := sqlite.Folder(a.data).MakePatientKey(a.patientKey)
				if err != nil {
					return err
				}
				fmt.Fprintf(a.Out, "a new key of the patients' numbers is in %s: keep a copy of it apart from the backups\n", path)
				return nil
			}
			return a.look(c.Context(), func(d *desk.Desk) error {
				if err := d.DB.PatientKey(); err != nil {
					return err
				}
				fmt.Fprintln(a.Out, "the key of the patients' numbers is there")
				return nil
			})
		},
	}
	c.Flags().BoolVar(&made, "new", false, "make a new key where none is")
	c.AddCommand(a.rotateCommand())
	return c
}

// rotateCommand changes the key. What it does survives being stopped at any moment: see sqlite.Folder.NextPatientKey.
func (a patientCommands) rotateCommand() *cobra.Command {
	var who actor
	var why string
	c := &cobra.Command{
		Use: "rotate", Short: "Seal all numbers anew with a new key", Args: cobra.NoArgs,
		Long: `Seal all numbers anew with a new key, as when somebody may have copied the one that is
there. It can be stopped at any moment: the numbers can then be read as before, and the
next start, or the same command, does the rest. Stop the program that serves the records
first.

Backups of before can be read with the key of before, which is kept beside the new one as
FILE.before: keep it with them, and delete it when they are gone. A copy of the records
that somebody took together with that key stays readable to them.`,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			var done record.PatientBody
			var r desk.Receipt
			err = a.open(c.Context(), func(d *desk.Desk) error {
				if err := d.DB.PatientKey(); err != nil {
					return err
				}
				next, err := sqlite.Folder(a.data).NextPatientKey(a.patientKey)
				if err != nil {
					return err
				}
				return who.do(c.Context(), a.app, d, func(w *desk.Work) (err error) {
					done, r, err = w.OnPatients().ChangePatientKey(e, next, why)
					return err
				})
			})
			if err != nil {
				return err
			}
			if err := a.open(c.Context(), func(d *desk.Desk) error { return d.DB.PatientKey() }); err != nil { // which gives the new key its name
				return err
			}
			return a.onRecord(r, struct {
				printedReceipt
				Sealed int `json:"sealed"`
				Left   int `json:"left"`
			}{receiptJSON(r), done.Sealed, done.Left}, func() {
				fmt.Fprintf(a.Out, "%d numbers are sealed with a new key: keep a copy of it apart from the backups\n", done.Sealed)
				if done.Left > 0 {
					fmt.Fprintf(a.Out, "%d lie under a key of before and stay so\n", done.Left)
				}
			})
		},
	}
	who.flags(c, desk.ToChangePatientKey, true)
	reason(c, &why)
	return c
}

// onRecord prints what was done with a number once that is on record, as JSON or for people.
func (a patientCommands) onRecord(r desk.Receipt, asJSON any, tell func()) error {
	if a.json {
		return a.printJSON(asJSON)
	}
	tell()
	fmt.Fprintf(a.Err, "this is on record: %s\n", r.Record.ID)
	return nil
}

// number reads the number of a patient: without showing it where that is a terminal, else from the first line.
func (a patientCommands) number() (string, error) {
	const what = "number of the patient"
	read := func() (string, error) { return a.nextLine(what) }
	if terminal, ok := a.terminal(); ok {
		read = func() (string, error) { return a.unseen(terminal, what+": ") }
	}
	line, err := read()
	return strings.TrimSpace(line), err
}
