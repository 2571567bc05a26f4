package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"rinsate/internal/desk"
)

// act does one thing and prints what was recorded.
func (a *app) act(c *cobra.Command, who *actor, do func(*desk.Work) (desk.Receipt, error), format string, args ...any) error {
	return a.open(c.Context(), func(d *desk.Desk) error {
		var receipt desk.Receipt
		if err := who.do(c.Context(), a, d, func(w *desk.Work) (err error) {
			receipt, err = do(w)
			return err
		}); err != nil {
			return err
		}
		if a.json {
			return a.printJSON(receiptJSON(receipt))
		}
		note := ""
		if !receipt.Fresh {
			note = " (it was stored before)"
		}
		fmt.Fprintf(a.Out, "%s: record %s%s\n", fmt.Sprintf(format, args...), receipt.Record.ID, note)
		for _, r := range receipt.Followed {
			fmt.Fprintf(a.Out, "  then %s: record %s\n", r.Type, r.ID)
		}
		if held := receipt.Held(); held != "" {
			fmt.Fprintf(a.Out, "! %s\n", a.terms.Sentence(held))
		}
		return nil
	})
}

func receiptJSON(r desk.Receipt) printedReceipt {
	p := printedReceipt{Record: r.Record.ID, Seq: r.Record.Seq, Fresh: r.Fresh}
	for _, f := range r.Followed {
		p.Followed = append(p.Followed, f.ID)
	}
	return p
}
