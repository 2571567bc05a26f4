package cli

import (
	"cmp"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/takeback"
)

// agrees is whoever agrees to an act at the machine: whoever runs the command names them.
func agrees(code string) access.Actor {
	if code == "" {
		return access.Actor{}
	}
	return access.Operator(code)
}

func (a dayCommands) correctCommand() *cobra.Command {
	var who actor
	var reason, second string
	var set []string
	c := &cobra.Command{
		Use: "correct RECORD --set NAME=VALUE", Short: "Correct what a record says; both versions stay visible",
		Long: `Correct what a record says. Both versions stay visible. Without --set the command lists what
can be set, with what the record says now. Times are those of the facility's zone.

What makes something adverse milder takes it back: it needs ` + takeback.Needs + `,
named with --second.
` + takeback.SlipWords + `.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.mend(c, &who, args[0], set, false, func(e *desk.Entry) { e.Reason, e.Second = reason, agrees(second) })
		},
	}
	who.flags(c, desk.ToCorrect, true)
	c.Flags().StringVar(&reason, "reason", "", "why the first version was wrong")
	c.Flags().StringVar(&second, "second", "", "code of the second person")
	c.Flags().StringArrayVar(&set, "set", nil, "what to set, as name=value; may be given several times")
	must(c.MarkFlagRequired("reason"))
	return c
}

func (a dayCommands) finishCommand() *cobra.Command {
	var who actor
	var set []string
	c := &cobra.Command{
		Use: "finish RECORD --set NAME=VALUE", Short: "Finish what a record began: a use, a step, a repair; or read a sample",
		Long: `Finish what a record began: the end of a use, the end and the result of a step, the return from
a repair; or the value of a sample that waits to be read. Without --set the command lists
what can be set. Times are those of the facility's zone.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.mend(c, &who, args[0], set, true, func(*desk.Entry) {})
		},
	}
	who.flags(c, desk.ToFinish, true)
	c.Flags().StringArrayVar(&set, "set", nil, "what to set, as name=value; may be given several times")
	return c
}

// mend corrects or finishes a record, or says what can be set.
func (a dayCommands) mend(c *cobra.Command, who *actor, record string, set []string, finishing bool, say func(*desk.Entry)) error {
	e, err := who.entry()
	if err != nil {
		return err
	}
	say(&e)
	changes := map[string]string{}
	for _, s := range set {
		name, value, ok := strings.Cut(s, "=")
		if !ok {
			return usageError{fmt.Errorf("--set %q: write it as name=value", s)}
		}
		changes[name] = value
	}
	done := "record %s is corrected"
	if finishing {
		done = "record %s is finished"
	}
	return a.act(c, who, func(w *desk.Work) (desk.Receipt, error) {
		target, err := w.Show(record)
		if err != nil {
			return desk.Receipt{}, err
		}
		if len(changes) == 0 {
			return desk.Receipt{}, settable(w, ledger.ID(target.ID), finishing)
		}
		if finishing {
			return w.Mending().Finish(e, ledger.ID(target.ID), changes)
		}
		return w.Mending().Correct(e, ledger.ID(target.ID), changes)
	}, done, record)
}

// settable says what can be set of a record.
func settable(w *desk.Work, id ledger.ID, finishing bool) error {
	ways, err := w.Records().Ways(id)
	if err != nil {
		return err
	}
	fields := ways.Correct
	if finishing {
		fields = ways.Finish
	}
	if len(fields) == 0 {
		return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("nothing of record %s can be set", id), Hint: ways.Instead}
	}
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = fmt.Sprintf("%s (%s)", f.Name, cmp.Or(f.Value, "empty"))
	}
	return usageError{fmt.Errorf("name what to set with --set name=value; it has: %s", strings.Join(names, ", "))}
}
