package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
)

func (a dayCommands) attestCommand() *cobra.Command {
	var who actor
	var in desk.Attested
	var from, form string
	c := &cobra.Command{
		Use: "attest [record ...]", Short: "List the acts that their records do not prove, and attest them",
		Long: `Without records: list the steps and samples that keep scopes from being ready because their
records do not show by themselves what they say, such as what was written down late.
With records: attest these acts, all in one. Whoever did them may within a day, a lead who
asked them within three, and later by the picture of the form that they signed.
Attest only what you know to have been done.`,
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return a.listUnattested(c)
			}
			e, err := who.entry()
			if err != nil {
				return err
			}
			for _, id := range args {
				in.Of = append(in.Of, ledger.ID(id))
			}
			in.From, in.Form = reprocessing.AttestedFrom(from), ledger.ID(form)
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) { return w.Vouching().Attest(e, in) }, "%s attested", countOf(len(args), "act"))
		},
	}
	who.flags(c, desk.ToAttest, false)
	c.Flags().StringVar(&from, "from", string(reprocessing.OwnAct), "what your word rests on: "+scope.Words(reprocessing.AttestedFroms))
	c.Flags().StringVar(&form, "form", "", "record of the picture of the signed form, with --from signed-form")
	return c
}

// unattestedJSON is what wants somebody's word, for programs.
type unattestedJSON struct {
	Share desk.AttestedShare `json:"share"`
	Acts  []desk.Unattested  `json:"acts"`
}

func (a dayCommands) listUnattested(c *cobra.Command) error {
	return a.view(c, func(v desk.View) error {
		all, err := v.Day().Unattested(v.Now())
		if err != nil {
			return err
		}
		share, err := v.Day().AttestedShare(v.Now())
		if err != nil {
			return err
		}
		if a.json {
			return a.printJSON(unattestedJSON{share, all})
		}
		rows := make([][]string, len(all))
		for i, x := range all {
			rows[i] = []string{x.Scope, x.What, x.At.In(v.Zone()), x.By, x.Why, x.Record}
		}
		if len(rows) == 0 {
			fmt.Fprintln(a.Out, "nothing waits for somebody's word")
		} else if err := a.printRows(output{}, []string{"scope", "act", "ended", "by", "why", "record"}, rows); err != nil {
			return err
		}
		fmt.Fprintf(a.Out, "attested in the last %d days: %d of %d steps and samples\n", share.Days, share.Attested, share.All)
		return nil
	})
}
