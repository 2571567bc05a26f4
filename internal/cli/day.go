package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/takeback"
	"rinsate/internal/present/words"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// dayCommands are those of the day's work: the release check, holds, what is due, the history and files of a scope.
type dayCommands struct{ *app }

func (a dayCommands) releaseCommand() *cobra.Command {
	var at, known string
	c := &cobra.Command{
		Use: "ready TAG", Short: "Say whether a scope may be used on a patient, and why",
		Long: `Say whether a scope may be used on a patient now, and until when, and if not, why not
and what to do next. TAG may be a serial number or barcode; where that stands for two
scopes, it asks which one. --at asks about another instant, of which the present minute
and what lies ahead are answered as of now; --known asks what the answer would have been
for somebody who asked at that time, before later entries.
Exit code 0: ready, 4: not ready, also while paper decides or where somebody else releases it.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				when, err := instant(at, v.Zone(), v.Now())
				if err != nil {
					return err
				}
				asked := store.Forever
				if known != "" {
					if asked, err = instant(known, v.Zone(), v.Now()); err != nil {
						return err
					}
				}
				tag := args[0]
				switch found, err := v.Registry().Named(tag); {
				case err == nil:
					tag = found.Tag
				case fault.CodeOf(err) != fault.NotFound: // what is not registered is answered as what it is
					return err
				}
				answer, err := v.Day().AnswerAt(tag, when, asked)
				if err != nil {
					return err
				}
				if answer.State != reprocessing.Ready {
					a.code = exitNotNow
				}
				if a.json {
					return a.printJSON(answer)
				}
				a.printAnswer(v, answer)
				return nil
			})
		},
	}
	c.Flags().StringVar(&at, "at", "", "the instant asked about (default now)")
	c.Flags().StringVar(&known, "known", "", "answer as somebody could have at this time")
	return c
}

// printAnswer prints the release check's whole answer.
func (a dayCommands) printAnswer(v desk.View, answer reprocessing.Answer) {
	answer = a.terms.Answer(answer)
	fmt.Fprintf(a.Out, "%s  %s  at %s\n", answer.Scope, strings.ToUpper(a.terms.state(answer.State)), answer.At.In(v.Zone()))
	if answer.Until.Known() {
		fmt.Fprintf(a.Out, "until %s\n", answer.Until.In(v.Zone()))
	}
	if s := answer.Short; s != nil && s.Grade != reprocessing.Nothing {
		fmt.Fprintf(a.Out, "how far from yes: %s\n", a.terms.Sentence(s.Words))
	}
	if answer.Paper != nil && answer.State != reprocessing.PaperDecides { // else the first reason says so
		fmt.Fprintln(a.Out, answer.Paper.Why)
	}
	if len(answer.Reasons) > 0 {
		fmt.Fprintln(a.Out, "\nbecause")
	}
	for _, r := range answer.Reasons {
		mark := " "
		if r.Blocks {
			mark = "✗"
		}
		fmt.Fprintf(a.Out, "  %s %s\n", mark, said(r))
		if r.Record != "" {
			fmt.Fprintf(a.Out, "      record %s\n", r.Record)
		}
		if r.Citation != "" {
			unverified := ""
			if r.Unverified {
				unverified = " [not verified by the facility]"
			}
			fmt.Fprintf(a.Out, "      rule: %s%s\n", r.Citation, unverified)
		}
	}
	if len(answer.Next) > 0 {
		fmt.Fprintln(a.Out, "\nnext")
		for i, n := range answer.Next {
			fmt.Fprintf(a.Out, "  %d. %s\n", i+1, n)
		}
	}
	if len(answer.Asked) > 0 {
		fmt.Fprintln(a.Out, "\nasked for")
	}
	for _, o := range answer.Asked {
		fmt.Fprintf(a.Out, "  since %s (%s)\n      %s\n", o.Since.In(v.Zone()), o.By, o.Words())
	}
	if len(answer.Steps) > 0 {
		fmt.Fprintf(a.Out, "\n%s since %s\n", a.terms.Word(words.Cycle), answer.Cycle.In(v.Zone()))
		rows := make([][]string, len(answer.Steps))
		for i, s := range answer.Steps {
			rows[i] = []string{a.terms.Step(s.Step), string(s.Status), moment(v, s.Start), moment(v, s.End), short(s.Record)}
		}
		a.printTable([]string{"step", "status", "start", "end", "record"}, rows)
	}
	a.printCaution()
}

func moment(v desk.View, at unit.Instant) string {
	if !at.Known() {
		return ""
	}
	return at.In(v.Zone())
}

func (a dayCommands) boardCommand() *cobra.Command {
	var at string
	c := &cobra.Command{
		Use: "board", Short: "Show every scope's state", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				board, err := boardAt(v, at)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(board)
				}
				a.printBoard(v, board)
				a.printCaution()
				return nil
			})
		},
	}
	c.Flags().StringVar(&at, "at", "", "the instant asked about (default now)")
	return c
}

func (a dayCommands) printBoard(v desk.View, board []reprocessing.Answer) {
	rows := make([][]string, len(board))
	for i, answer := range board {
		answer = a.terms.Answer(answer)
		rows[i] = []string{answer.Scope, a.terms.state(answer.State), moment(v, answer.Until), firstReason(answer)}
	}
	a.printTable([]string{"scope", "state", "until", "because"}, rows)
	a.printOnPaper(board)
}

// printOnPaper says once below a list of answers that paper decides, where it does.
func (a *app) printOnPaper(board []reprocessing.Answer) {
	if i := slices.IndexFunc(board, func(x reprocessing.Answer) bool { return x.Paper != nil }); i >= 0 {
		fmt.Fprintln(a.Out, board[i].Paper.Why)
	}
}

// said is a reason with whose act it is.
func said(r reprocessing.Reason) string {
	if r.By == "" {
		return r.Whole()
	}
	return r.Whole() + " (by " + r.By + ")"
}

// firstReason returns the first reason that blocks, or for a ready scope the last one.
func firstReason(answer reprocessing.Answer) string {
	for _, r := range answer.Reasons {
		if r.Blocks {
			return said(r)
		}
	}
	if n := len(answer.Reasons); n > 0 {
		return said(answer.Reasons[n-1])
	}
	return ""
}

func (a dayCommands) dueCommand() *cobra.Command {
	var at string
	c := &cobra.Command{
		Use: "due", Short: "List the scopes and points that are due to be sampled, and why", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				board, err := boardAt(v, at)
				if err != nil {
					return err
				}
				due := dueOf(board)
				if a.json {
					return a.printJSON(due)
				}
				a.printDue(v, due)
				a.printCaution()
				return nil
			})
		},
	}
	c.Flags().StringVar(&at, "at", "", "the instant asked about (default now)")
	return c
}

// dueOf collects what is due, the oldest first.
func dueOf(board []reprocessing.Answer) []sampling.Due {
	due := []sampling.Due{}
	for _, answer := range board {
		due = append(due, answer.Due...)
	}
	slices.SortStableFunc(due, func(x, y sampling.Due) int { return int(x.Since - y.Since) })
	return due
}

func (a dayCommands) printDue(v desk.View, due []sampling.Due) {
	rows := make([][]string, len(due))
	for i, d := range due {
		d = a.terms.Due(d)
		blocks := ""
		if d.Blocks {
			blocks = "keeps it from use"
		}
		rows[i] = []string{d.Scope, d.Since.In(v.Zone()), d.Whole(), scope.Named(d.Points), blocks}
	}
	a.printTable([]string{"scope", "since", "why", "points", ""}, rows)
}

func (a dayCommands) historyCommand() *cobra.Command {
	var from, to string
	var limit int
	c := &cobra.Command{
		Use: "history TAG", Short: "Show what is on record of a scope, the latest first", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				start, err := instant(from, v.Zone(), 1)
				if err != nil {
					return err
				}
				end, err := instant(to, v.Zone(), store.Forever)
				if err != nil {
					return err
				}
				lines, err := v.Chronicle(args[0], start, end, limit)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(lines)
				}
				rows := make([][]string, len(lines))
				for i, l := range lines {
					rows[i] = []string{l.At.In(v.Zone()), a.terms.BriefKind(l.Type), a.terms.describe(l, v), l.By, remarks(l), short(l.ID)}
				}
				a.printTable([]string{"at", "what", "", "by", "remarks", "record"}, rows)
				return nil
			})
		},
	}
	c.Flags().StringVar(&from, "from", "", "from this instant on")
	c.Flags().StringVar(&to, "to", "", "up to this instant")
	c.Flags().IntVar(&limit, "limit", 50, "at most so many records")
	return c
}

func remarks(l desk.Line) string {
	var parts []string
	if l.Replaced.Known() {
		parts = append(parts, "replaced")
	}
	if l.Corrects != "" {
		parts = append(parts, "corrects "+short(l.Corrects)+": "+l.Reason)
	}
	if l.Late {
		parts = append(parts, "entered late")
	}
	return strings.Join(parts, "; ")
}

func (a dayCommands) holdCommand() *cobra.Command {
	var who actor
	var reason, kind, older string
	c := &cobra.Command{
		Use: "hold TAG", Short: "Keep a scope from patients",
		Long: `Keep a scope from patients. --kind says what the hold is for; what ends it and who signs that follows
from it. With --hold the kind of an open hold changes, which it does only to a stricter one:
` + scope.Words(reprocessing.HoldKinds) + `.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				if older != "" {
					id, err := openHold(w, args[0], older)
					if err != nil {
						return desk.Receipt{}, err
					}
					e.Corrects, e.Reason = ledger.ID(id), reason
				}
				return w.PlaceHold(e, reprocessing.Hold{Scope: args[0], Kind: reprocessing.HoldKind(kind), By: who.by, Reason: reason})
			}, "%s is on hold", args[0])
		},
	}
	who.flags(c, desk.ToPlaceHold, true)
	c.Flags().StringVar(&reason, "reason", "", "why")
	c.Flags().StringVar(&kind, "kind", string(reprocessing.OtherHold), "what it is for: "+scope.Words(reprocessing.HoldKinds))
	c.Flags().StringVar(&older, "hold", "", "id of an open hold that becomes stricter, or its beginning")
	must(c.MarkFlagRequired("reason"))
	return c
}

func (a dayCommands) liftCommand() *cobra.Command {
	var who actor
	var reason, second, hold string
	c := &cobra.Command{
		Use: "lift TAG", Short: "Lift the hold on a scope, over what is on record since and with the signatures that it takes",
		Long: `Lift the hold on a scope. What has to be on record since, and whose signature it takes, follows from
what the hold is for; rinsate ready says which. What the people who sign are is what is on record
of them: the roles of their accounts, or the role that they are registered with. With several open
holds, --hold names one.

` + signed,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				id, err := openHold(w, args[0], hold)
				if err != nil {
					return desk.Receipt{}, err
				}
				return w.LiftHold(e, reprocessing.Lift{Hold: id, By: who.by, Second: second, Reason: reason})
			}, "the hold on %s is lifted", args[0])
		},
	}
	who.flags(c, desk.ToLiftHold, true)
	c.Flags().StringVar(&reason, "reason", "", "why")
	c.Flags().StringVar(&second, "second", "", "code of the second person")
	c.Flags().StringVar(&hold, "hold", "", "id of the hold, or its beginning")
	must(c.MarkFlagRequired("reason"))
	return c
}

// openHold finds an open hold of a scope.
func openHold(w *desk.Work, tag, wanted string) (string, error) {
	open, err := w.OpenHolds(tag, w.Now())
	if err != nil {
		return "", err
	}
	if wanted != "" {
		open = slices.DeleteFunc(open, func(x reprocessing.Hold) bool { return !strings.HasPrefix(x.ID, wanted) })
	}
	switch len(open) {
	case 0:
		return "", &fault.Error{
			Code:    fault.NotFound,
			Message: fmt.Sprintf("there is no such open hold on %s", tag),
			Hint:    "see its state with: rinsate ready " + tag,
		}
	case 1:
		return open[0].ID, nil
	}
	ids := make([]string, len(open))
	for i, x := range open {
		ids[i] = fmt.Sprintf("%s (%s: %s)", short(x.ID), x.Of(), x.Reason)
	}
	return "", &fault.Error{
		Code:    fault.Invalid,
		Message: fmt.Sprintf("%s has %d open holds: %s", tag, len(open), strings.Join(ids, "; ")),
		Hint:    "name one with --hold",
	}
}

func (a dayCommands) askCommand() *cobra.Command {
	var who actor
	var reason string
	var points []string
	c := &cobra.Command{
		Use: "ask TAG", Short: "Ask for a scope to be sampled", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			q := sampling.Request{Scope: args[0], By: who.by, Reason: reason}
			for _, p := range points {
				if !slices.Contains(scope.PointKinds, scope.PointKind(p)) {
					return usageError{fmt.Errorf("point %q is not known; allowed: %s", p, scope.Words(scope.PointKinds))}
				}
				q.Points = append(q.Points, scope.PointKind(p))
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) { return w.Ask(e, q) }, "a cleaning verification of %s is asked for", args[0])
		},
	}
	who.flags(c, desk.ToAsk, true)
	c.Flags().StringVar(&reason, "reason", "", "why")
	c.Flags().StringSliceVar(&points, "point", nil, "sampling points (default: the routine ones)")
	must(c.MarkFlagRequired("reason"))
	return c
}

func (a dayCommands) voidCommand() *cobra.Command {
	var who actor
	var reason, second string
	c := &cobra.Command{
		Use: "void RECORD", Short: "Take back a record that should not have been written; both stay visible",
		Long: `Take back a record that should not have been written. Both records stay visible. Voiding
the record that finished a use, a step or a repair takes back the whole of it; voiding a
cleaning verification takes back all of its samples; voiding a void restores what spoke
against the scope.

What is adverse (a failure, a hold, what opened duties) needs ` + takeback.Needs + `,
named with --second.
` + takeback.SlipWords + `.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			e.Reason, e.Second = reason, agrees(second)
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				target, err := w.Show(args[0])
				if err != nil {
					return desk.Receipt{}, err
				}
				e.Corrects = ledger.ID(target.ID)
				return w.Void(e)
			}, "record %s is void", args[0])
		},
	}
	who.flags(c, desk.ToVoid, true)
	c.Flags().StringVar(&reason, "reason", "", "why")
	c.Flags().StringVar(&second, "second", "", "code of the second person")
	must(c.MarkFlagRequired("reason"))
	return c
}

func eraseCommand(a *app) *cobra.Command {
	var who actor
	var field, reason string
	reasons := make([]string, len(record.ErasureReasons))
	for i, r := range record.ErasureReasons {
		reasons[i] = string(r)
	}
	c := &cobra.Command{
		Use: "erase RECORD", Short: "Erase a free text of a record for good, such as a patient's name in a reason",
		Long: `Erase a free text of a record for good: a note, a reason, a title, a file's name. The same
text is erased in its corrections and in the records that repeat it. The record stays, and
so does the ledger, which holds only a commitment to the text; that a text was erased,
which, when, by whom and why is a record of its own.

Texts can be erased; codes, choices, values and attached files cannot. A backup, an
export with --texts and what was printed still have them: see to these too.
Where a rule asks for the text that is erased, the record does not count as good any more.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				target, err := w.Show(args[0])
				if err != nil {
					return desk.Receipt{}, err
				}
				return w.Erase(e, ledger.ID(target.ID), field, record.ErasureReason(reason))
			}, "a text of record %s is erased", args[0])
		},
	}
	who.flags(c, desk.ToErase, true)
	c.Flags().StringVar(&field, "field", "", "which text, where the record has several, such as note or reason")
	c.Flags().StringVar(&reason, "reason", "", "why: "+strings.Join(reasons, ", "))
	must(c.MarkFlagRequired("reason"))
	return c
}

// printedReceipt is a receipt in JSON.
type printedReceipt struct {
	Record   ledger.ID   `json:"record"`
	Seq      int64       `json:"seq"`
	Fresh    bool        `json:"fresh"`
	Followed []ledger.ID `json:"followed,omitempty"`
}
