package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store"
)

func (a dayCommands) emergencyCommand() *cobra.Command {
	var unseen bool
	group := &cobra.Command{
		Use: "emergency", Short: "List the emergency uses, record one, complete it, and say that it was seen",
		Long: `List the uses that somebody decided for whatever the release check said: who decided, how
far from ready the scope was then, what is not on record yet, and the hold that followed.
An emergency use makes no scope ready and ends no hold. A scope that was not ready is on hold
from then on. Infection prevention says of each that they have seen it.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				all, err := v.Day().Emergencies(0, store.Forever, unseen)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(all)
				}
				a.printEmergencies(v, all)
				return nil
			})
		},
	}
	group.Flags().BoolVar(&unseen, "unseen", false, "only those that infection prevention has not seen")
	group.AddCommand(a.emergencyRecord(), a.emergencyRest(), a.emergencySeen())
	return group
}

func (a dayCommands) printEmergencies(v desk.View, all []desk.EmergencyUse) {
	if len(all) == 0 {
		fmt.Fprintln(a.Out, "no emergency use")
		return
	}
	for i, u := range all {
		if i > 0 {
			fmt.Fprintln(a.Out)
		}
		m := u.Emergency
		fmt.Fprintf(a.Out, "%s  begun %s\n", u.Scope, u.Start.In(v.Zone()))
		say := func(label, words string) {
			if words != "" {
				fmt.Fprintf(a.Out, "  %-12s %s\n", label, words)
			}
		}
		why := m.Reason.Words()
		if m.Words != "" {
			why += ": " + m.Words
		}
		say("why", why)
		by := ", recorded by " + u.By
		if m.Unsigned || u.By == "" {
			by = ", recorded where nobody had signed in"
		}
		say("decided by", m.Decided+by)
		say("then", a.terms.state(reprocessing.State(m.State))+"; "+a.terms.Sentence(m.Short))
		if u.EndNotKnown {
			say("ended", "not known")
		}
		say("ended", moment(v, u.End))
		if t := u.TakenBack; t != nil {
			say("taken back", fmt.Sprintf("by %s, %s: %s", t.Who(), moment(v, t.At), t.Why))
		}
		say("lacking", strings.Join(u.Lacking, ", "))
		for _, h := range u.Holds {
			state := "ended"
			if h.Open {
				state = "open; " + a.terms.Sentence(h.Next)
			}
			say("hold", fmt.Sprintf("%s: %s (record %s)", h.Kind, state, short(string(h.Record))))
		}
		say("hold", u.NoHold())
		for _, s := range u.Seen {
			words := s.By + " at " + s.At.In(v.Zone())
			if s.Note != "" {
				words += ": " + s.Note
			}
			say("seen", words)
		}
		if len(u.Seen) == 0 {
			say("seen", "not yet by infection prevention")
		}
		say("record", string(u.Record))
	}
}

func (a dayCommands) emergencyRecord() *cobra.Command {
	var who actor
	var m reprocessing.Emergency
	var reason string
	c := &cobra.Command{
		Use: "record TAG", Short: "Record that a scope goes on a patient now, whatever the release check says",
		Long: `Record that a scope goes on a patient now, whatever the release check says. The answer
stays as it is, and a scope that was not ready is on hold from then on. What is on
paper comes in with: rinsate import uses, which has columns for it.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			m.Reason = reprocessing.EmergencyReason(reason)
			if m.Decided == "" {
				m.Decided = who.by
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) { return desk.InEmergency(w).RecordEmergency(e, args[0], m) },
				"an emergency use of %s has begun", args[0])
		},
	}
	who.flags(c, desk.ToRecordEmergency, false)
	c.Flags().StringVar(&reason, "reason", "", "why the patient cannot wait: "+scope.Words(reprocessing.EmergencyReasons))
	c.Flags().StringVar(&m.Words, "words", "", "the same in words; no patient's name")
	c.Flags().StringVar(&m.Decided, "decided", "", "who decided, where it is not who records it: name or code")
	must(c.MarkFlagRequired("reason"))
	return c
}

func (a dayCommands) emergencyRest() *cobra.Command {
	var who actor
	var rest desk.Rest
	var end string
	c := &cobra.Command{
		Use: "complete RECORD", Short: "Record the rest of an emergency use: its end, the patient's number, the procedure", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				if rest.End, err = instant(end, w.Zone(), unit.Instant(0)); err != nil {
					return desk.Receipt{}, err
				}
				id, err := wholeID(w, args[0])
				if err != nil {
					return desk.Receipt{}, err
				}
				return desk.InEmergency(w).CompleteEmergency(e, id, rest)
			}, "the rest is recorded")
		},
	}
	who.flags(c, desk.ToCompleteEmergency, true)
	c.Flags().StringVar(&end, "end", "", "when it ended")
	c.Flags().BoolVar(&rest.EndNotKnown, "end-not-known", false, "nobody can say when it ended")
	c.Flags().BoolVar(&rest.PatientNotKnown, "patient-not-known", false, "nobody can say the patient's number")
	c.Flags().StringVar(&rest.Patient, "patient", "", "the facility's number of the patient; kept outside the ledger")
	c.Flags().StringVar(&rest.Procedure, "procedure", "", "kind of procedure")
	c.Flags().StringVar(&rest.Room, "room", "", "room")
	return c
}

func (a dayCommands) emergencySeen() *cobra.Command {
	var who actor
	var note string
	c := &cobra.Command{
		Use: "seen RECORD", Short: "Say that infection prevention has seen an emergency use; it ends no hold", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				id, err := wholeID(w, args[0])
				if err != nil {
					return desk.Receipt{}, err
				}
				return desk.InEmergency(w).SeeEmergency(e, id, note)
			}, "the emergency use is seen")
		},
	}
	who.flags(c, desk.ToSeeEmergency, true)
	c.Flags().StringVar(&note, "note", "", "what infection prevention does about it; no patient's name")
	return c
}

// wholeID returns the id of a record by its beginning.
func wholeID(w *desk.Work, begins string) (ledger.ID, error) {
	l, err := w.Show(begins)
	return ledger.ID(l.ID), err
}
