package cli

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"rinsate/internal/desk"
	"rinsate/internal/domain/dossier"
)

func (a setUpCommands) firstDayCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "first-day", Short: "Say whether paper decides, and which scopes are not known",
		Long: `Say whether paper decides. A new site is on trial: what is recorded counts as ever, and no
answer is a plain yes until a lead and infection prevention sign the start together.
Lists who has a founding role, and the scopes of which nothing is on record.
Exit code 0: the start is signed, 4: paper decides.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				f, err := v.Day().FirstDay(v.Now())
				if err != nil {
					return err
				}
				if f.Why != "" {
					a.code = exitNotNow
				}
				if a.json {
					return a.printJSON(f)
				}
				a.printFirstDay(v, f)
				return nil
			})
		},
	}
	c.AddCommand(a.startCommand(), a.stockCommand())
	return c
}

func (a setUpCommands) printFirstDay(v desk.View, f desk.FirstDay) {
	if f.Start == nil {
		fmt.Fprintf(a.Out, "%s\nnext: rinsate first-day start --by LEAD --second INFECTION-PREVENTION\n", f.Why)
	} else {
		fmt.Fprintf(a.Out, "the records decide since %s, as %s and %s have signed: record %s\n",
			f.Start.At.In(v.Zone()), f.Start.By, f.Start.Second, f.Start.ID)
	}
	a.heading("Founding roles")
	rows := make([][]string, len(f.Founders))
	for i, x := range f.Founders {
		rows[i] = []string{x.Code, a.terms.Roles(x.Roles)}
	}
	a.printTable([]string{"code", "roles"}, rows)
	a.heading("Not known")
	rows = make([][]string, len(f.Stock.Open))
	for i, x := range f.Stock.Open {
		rows[i] = []string{x.Scope, x.Model, x.Why}
	}
	a.printTable([]string{"scope", "model", "not for a list, since"}, rows)
	if len(f.Stock.Taken) == 0 {
		return
	}
	a.heading("Ready by a stock-take")
	rows = make([][]string, len(f.Stock.Taken))
	for i, x := range f.Stock.Taken {
		rows[i] = []string{x.Scope, x.Cabinet, x.Until.In(v.Zone()), x.By + " and " + x.Second, short(x.ID)}
	}
	a.printTable([]string{"scope", "cabinet", "until", "signed by", "record"}, rows)
}

func (a setUpCommands) startCommand() *cobra.Command {
	var who actor
	var second string
	c := &cobra.Command{
		Use: "start", Short: "Sign that from now on the records decide and not paper",
		Long: `Sign that from now on the records decide and not paper. A lead and infection prevention
sign it together, once; it cannot be taken back. With it both sign the list of those who
have roles: founding roles are nobody's grant. Name deputies before.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) { return w.SettingUp().SignStart(e, second) }, "the records decide from now on")
		},
	}
	who.flags(c, desk.ToSignStart, true)
	c.Flags().StringVar(&second, "second", "", "code of the second person")
	must(c.MarkFlagRequired("second"))
	return c
}

func (a setUpCommands) stockCommand() *cobra.Command {
	var who actor
	var second, profile, zone string
	var photographs []string
	c := &cobra.Command{
		Use: "stock FILE", Short: "Sign for scopes of which nothing is on record, over photographs of their paper",
		Long: `Sign a list of scopes of which nothing is on record: a lead and infection prevention have
seen on paper that they are reprocessed. Each is ready by it until its next use, or the
end of the storage that its paper shows. No hold ends by this. A list is taken back scope
by scope with: rinsate void

FILE is a CSV file (or - for standard input) such as:

` + desk.StockExample + `
paper names a photograph that is filed with the scope already (rinsate attach); those of
--photograph are filed with every scope of the list.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) (err error) {
			e, err := who.entry()
			if err != nil {
				return err
			}
			p, err := readProfile(profile, zone)
			if err != nil {
				return err
			}
			var papers []desk.Photograph
			for _, name := range photographs {
				var one desk.Photograph
				if one.Media, err = dossier.Claim(name, ""); err != nil {
					return usageError{err}
				}
				if one.Content, err = readAtMost(name, dossier.MaxSize+1); err != nil {
					return usageError{err}
				}
				papers = append(papers, one)
			}
			content := a.input()
			if args[0] != "-" {
				file, err := os.Open(args[0])
				if err != nil {
					return usageError{err}
				}
				defer file.Close() //nolint:errcheck // it was only read
				content = file
			}
			list, err := desk.ReadStock(args[0], content, p)
			if err != nil {
				return err
			}
			return a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				return w.Vouching().TakeStock(e, list, papers, second)
			}, "%s listed", countOf(len(list), "scope"))
		},
	}
	who.flags(c, desk.ToTakeStock, true)
	c.Flags().StringVar(&second, "second", "", "code of the second person")
	c.Flags().StringSliceVar(&photographs, "photograph", nil, "photographs of the paper: JPEG, PNG or PDF")
	c.Flags().StringVar(&profile, "profile", "", "YAML file that describes the CSV file")
	c.Flags().StringVar(&zone, "zone", "", "time zone of the times without an offset that a profile reads")
	must(c.MarkFlagRequired("second"))
	return c
}
