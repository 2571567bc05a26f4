package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/desk"
	"rinsate/internal/present/paper"
)

func (a dayCommands) paperCommand() *cobra.Command {
	group := &cobra.Command{
		Use: "paper", Short: "Print what the work needs while the computer is down: the ready list of a shift, blank forms",
		Long: `Print what the work needs while the computer is down. Let something print the list at the
beginning of each shift: what is on it then is all that is ready until the shift ends.`,
	}
	group.AddCommand(a.paperReady(), a.paperForms())
	return group
}

func (a dayCommands) paperReady() *cobra.Command {
	var hours int
	var pdf string
	c := &cobra.Command{
		Use: "ready", Short: "List what is ready and hangs in a closed cabinet, for a shift",
		Long: `List what is ready for use now and hangs in a closed cabinet, cabinet by cabinet, each
scope until the earlier of its own end and that of the shift. --pdf writes it for paper,
with a box for each scope that is struck out when it is taken out.
A scope that was taken out, or that anybody knows bad news of, is not ready whatever the
list says.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				l, err := v.Day().ShiftList(v.Now(), hours)
				if err != nil {
					return err
				}
				if pdf != "" {
					if err := a.writePaper(v, pdf, paper.Shift(l, a.terms.Terms, v.Zone())); err != nil {
						return err
					}
				}
				if a.json {
					return a.printJSON(l)
				}
				if pdf == "" {
					a.printPaper(paper.Shift(l, a.terms.Terms, v.Zone()))
				}
				return nil
			})
		},
	}
	c.Flags().IntVar(&hours, "hours", desk.UsualShift, fmt.Sprintf("for how many hours it is valid, at most %d", desk.MostShift))
	c.Flags().StringVar(&pdf, "pdf", "", "write it as PDF into this file")
	return c
}

func (a dayCommands) paperForms() *cobra.Command {
	var pdf string
	c := &cobra.Command{
		Use: "forms", Short: "Write blank forms for uses, reprocessing, samples, holds and storage, in the words of the rule set",
		Long: `Write blank forms for what is done while the computer is down: uses, reprocessing,
samples, holds and bad news, storage and take-out. Their columns are those of the files
that are read in afterwards. Write them anew when the rule set changes.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				b, err := v.Day().Blanks(v.Now())
				if err != nil {
					return err
				}
				if pdf != "" {
					if err := a.writePaper(v, pdf, paper.Forms(b, a.terms.Terms, v.Zone())); err != nil {
						return err
					}
				}
				if a.json {
					return a.printJSON(b)
				}
				if pdf == "" {
					a.printPaper(paper.Forms(b, a.terms.Terms, v.Zone()))
				}
				return nil
			})
		},
	}
	c.Flags().StringVar(&pdf, "pdf", "", "write them as PDF into this file")
	return c
}

// writePaper writes a document into a file, which is replaced only as a whole.
func (a dayCommands) writePaper(v desk.View, name string, d paper.Document) error {
	content, err := paper.PDF(d, v.Now().Time())
	if err != nil {
		return err
	}
	if err := replaceFile(name, content); err != nil {
		return err
	}
	fmt.Fprintf(a.Err, "written: %s\n", name)
	return nil
}

// printPaper prints a document on a terminal. Blank rows are for a hand and are left out.
func (a dayCommands) printPaper(d paper.Document) {
	for _, s := range d.Sheets {
		a.heading("%s", s.Title)
		for _, p := range s.Lead {
			fmt.Fprintln(a.Out, p)
		}
		if s.Barrier != "" {
			fmt.Fprintf(a.Out, "! %s\n", s.Barrier)
		}
		for _, t := range s.Tables {
			header := make([]string, len(t.Columns))
			for i, c := range t.Columns {
				header[i] = c.Name
			}
			rows := make([][]string, len(t.Rows))
			for i, row := range t.Rows {
				rows[i] = append([]string{}, row...)
				for j, c := range t.Columns {
					if c.Box {
						rows[i][j] = "[ ]"
					}
				}
			}
			if t.Title != "" {
				fmt.Fprintf(a.Out, "\n%s\n", t.Title)
			}
			if len(rows) > 0 {
				a.printTable(header, rows)
			} else {
				fmt.Fprintf(a.Out, "to fill in: %s\n", strings.Join(header, ", "))
			}
		}
		for _, t := range s.Ticks {
			fmt.Fprintf(a.Out, "%s: %s\n", t.Label, strings.Join(t.Choices, ", "))
		}
		for _, n := range s.Notes {
			fmt.Fprintln(a.Out, n)
		}
	}
	fmt.Fprintf(a.Out, "\n%s\n", d.Foot)
}
