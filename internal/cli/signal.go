package cli

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/present/figure"
)

// signalCells are what a line of the list of signals says.
func (t spoken) signalCells(v desk.View, r desk.Raised) []string {
	cells := []string{
		short(string(r.ID)),
		r.Series.Scope,
		string(r.Series.Point),
		t.direction(r.Direction),
		"no longer",
		string(r.State),
		moment(v, r.Signalled),
		"",
		"",
		"",
		"",
		"",
		"",
	}
	x := r.Signal
	if x == nil {
		return cells
	}
	cells[3], cells[4], cells[6] = t.direction(x.Direction), "over", moment(v, x.First.At)
	if x.Open {
		cells[4] = "open"
	}
	if r.Again {
		cells[5] += ", again"
	}
	if s := x.Since; s != nil {
		cells[7], cells[8] = s.At.In(v.Zone()), moment(v, s.After)+" to "+moment(v, s.Until)
		cells[9] = fmt.Sprintf("%.0f → %.0f", float64(s.Before), float64(s.Now))
	}
	charts := []string{string(x.First.Chart)}
	for _, j := range x.Joined {
		charts = append(charts, string(j.Chart))
	}
	cells[10], cells[11], cells[12] = strings.Join(slices.Compact(charts), ", "), strings.Join(x.Coincides, ", "), strconv.Itoa(x.Others)
	return cells
}

// jsonSignal is a signal with its life as a contract. What is computed is absent when the signal
// no longer shows.
type jsonSignal struct {
	ID ledger.ID `json:"id"`
	trend.Identity
	State trend.LifeState `json:"state"`
	Acts  int             `json:"acts"`
	// Moved says that the signal now begins with another reading than when somebody acted on it.
	Moved bool `json:"first_reading_moved,omitempty"`
	// Again says that it was closed and has shown again since.
	Again  bool         `json:"again,omitempty"`
	Signal *desk.Signal `json:"signal,omitempty"`
}

func signalsJSON(raised []desk.Raised) []jsonSignal {
	all := make([]jsonSignal, len(raised))
	for i, r := range raised {
		all[i] = jsonSignal{ID: r.ID, Identity: r.Identity, State: r.State, Acts: r.Acts, Moved: r.Shifted, Again: r.Again, Signal: r.Signal}
	}
	return all
}

// theSignal finds the signal whose id begins with a text.
func theSignal(v desk.View, id string) (desk.Raised, error) {
	list, err := v.Numbers().AllSeries(v.Now(), desk.UsualWatching())
	if err != nil {
		return desk.Raised{}, err
	}
	all, err := v.Numbers().Raised(desk.Signals(list, 0))
	if err != nil {
		return desk.Raised{}, err
	}
	found := slices.DeleteFunc(all, func(r desk.Raised) bool { return !strings.HasPrefix(string(r.ID), id) })
	switch {
	case len(id) < 4 || len(found) == 0:
		return desk.Raised{}, &fault.Error{
			Code:    fault.NotFound,
			Message: fmt.Sprintf("there is no signal whose id begins with %q", id),
			Hint:    "see the signals with: rinsate signals",
		}
	case len(found) > 1:
		return desk.Raised{}, &fault.Error{Code: fault.Invalid, Message: "several signals begin with " + id, Hint: "give more of the id"}
	}
	return found[0], nil
}

func (a numberCommands) signalCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "signal", Short: "Show or record what people did about a signal",
		Long: `Show or record what people did about a signal. It is named by its id, or the beginning of
it, as rinsate signals lists it. Somebody has seen it, explains what was behind it, links
the records of what was done, and closes it; closing needs an explanation first. A closed
signal can be opened again. Take an entry back with: rinsate void.`,
		Args: cobra.NoArgs,
	}
	var words, cause, record string
	c.AddCommand(
		a.signalShowCommand(),
		a.signalAct("seen", "Say that you have looked at signals", trend.Seen, nil),
		a.signalAct("explain", "Say what was behind signals", trend.Explained, func(c *cobra.Command) func(*trend.Handling) {
			c.Flags().StringVar(&words, "words", "", "the explanation; no names of patients")
			c.Flags().StringVar(&cause, "cause", "", "what it was: "+strings.Join(causes(), ", "))
			return func(h *trend.Handling) { h.Words, h.Cause = words, trend.Cause(cause) }
		}),
		a.signalAct("link", "Link a record of what was done about signals", trend.Linked, func(c *cobra.Command) func(*trend.Handling) {
			c.Flags().StringVar(&record, "record", "", "id of the record: a "+scope.Words(desk.Measures))
			c.Flags().StringVar(&words, "words", "", "words, if needed")
			return func(h *trend.Handling) { h.Record, h.Words = ledger.ID(record), words }
		}),
		a.signalAct("close", "Close signals that are explained", trend.Closed, func(c *cobra.Command) func(*trend.Handling) {
			c.Flags().StringVar(&words, "why", "", "why they can be closed")
			return func(h *trend.Handling) { h.Words = words }
		}),
		a.signalAct("reopen", "Open closed signals again", trend.Reopened, func(c *cobra.Command) func(*trend.Handling) {
			c.Flags().StringVar(&words, "why", "", "why they are opened again")
			return func(h *trend.Handling) { h.Words = words }
		}),
	)
	return c
}

func causes() []string {
	words := make([]string, len(trend.Causes))
	for i, c := range trend.Causes {
		words[i] = string(c)
	}
	return words
}

// signalAct is the command for one act about signals. flags adds what it says and returns what fills it in.
func (a numberCommands) signalAct(use, about string, act trend.Act, flags func(*cobra.Command) func(*trend.Handling)) *cobra.Command {
	var who actor
	fill := func(*trend.Handling) {}
	c := &cobra.Command{
		Use: use + " ID...", Short: about, Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.open(c.Context(), func(d *desk.Desk) error {
				var lines []map[string]any
				if err := who.do(c.Context(), a.app, d, func(w *desk.Work) error {
					for _, id := range args {
						r, err := theSignal(w.View, id)
						if err != nil {
							return err
						}
						receipt, err := w.OnSignals().HandleSignal(desk.Entry{By: who.by}, handling(w.View, r, act, fill))
						if err != nil {
							return err
						}
						lines = append(
							lines,
							map[string]any{"signal": r.ID, "scope": r.Series.Scope, "point": r.Series.Point, "act": act, "record": receipt.Record.ID},
						)
					}
					return nil
				}); err != nil {
					return err
				}
				if a.json {
					return a.printJSON(lines)
				}
				for _, l := range lines {
					fmt.Fprintf(a.Out, "%s, %s: %s: record %s\n", l["scope"], l["point"], act, l["record"])
				}
				return nil
			})
		},
	}
	if flags != nil {
		fill = flags(c)
	}
	who.named(c, desk.ActOnSignal(act), "code of the person who acts")
	must(c.MarkFlagRequired("by"))
	return c
}

// handling is an act about a signal as it computes now.
func handling(v desk.View, r desk.Raised, act trend.Act, fill func(*trend.Handling)) trend.Handling {
	h := trend.Handling{Signal: r.ID, Identity: r.Identity, Begin: r.Signalled, Last: r.Signalled, Act: act, At: v.Now()}
	if r.Signal != nil {
		h.Begin, h.Last = r.Signal.Begin(), r.Signal.Last
	}
	fill(&h)
	return h
}

func (a numberCommands) signalShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show ID", Short: "Show what people did about a signal", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				r, err := theSignal(v, args[0])
				if err != nil {
					return err
				}
				life, err := v.Numbers().Life(r.ID)
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(map[string]any{"signal": signalsJSON([]desk.Raised{r})[0], "life": lifeJSON(life)})
				}
				fmt.Fprintf(a.Out, "signal %s: %s, %s\n%s\n", r.ID, r.Series, r.State, signalSays(v, r))
				rows := make([][]string, len(life.Acts))
				for i, h := range life.Acts {
					state := ""
					switch {
					case h.Replaced.Known():
						state = "taken back"
					case !h.Counts:
						state = "counts no more"
					}
					rows[i] = []string{moment(v, h.At), string(h.Act), h.By, h.Cause.Words(), h.Words, short(string(h.Record)), state, short(string(h.ID))}
				}
				a.printTable([]string{"at", "act", "by", "cause", "words", "linked", "", "record"}, rows)
				a.printCaution()
				return nil
			})
		},
	}
}

// signalSays says what the charts say about a signal now.
func signalSays(v desk.View, r desk.Raised) string {
	switch {
	case r.Signal == nil:
		return "The charts no longer show it: a reading came late or was taken back, or another baseline is in force."
	case r.Shifted:
		return figure.SignalWords(r.Signal.Signal, v.Zone()) + " It begins with another reading than when somebody acted on it."
	}
	return figure.SignalWords(r.Signal.Signal, v.Zone())
}

func lifeJSON(life desk.Life) []map[string]any {
	all := make([]map[string]any, len(life.Acts))
	for i, h := range life.Acts {
		all[i] = map[string]any{"id": h.ID, "by": h.By, "recorded": h.Recorded, "counts": h.Counts, "act": h.Handling}
	}
	return all
}
