package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/stats"
	"rinsate/internal/desk"
	"rinsate/internal/record"
)

func (a sampleCommands) selectCommand() *cobra.Command {
	var who actor
	var seed string
	c := &cobra.Command{
		Use: "select", Short: "Select scopes at random for periodic cleaning verification, so that anybody can repeat the selection",
		Long: `Select scopes at random for periodic cleaning verification by the rule in force: at least
so many of each kind and of each process, each scope at least once in a period, the rest
weighted by the time since they were last selected and by past failures. The seed, the
candidates and the scopes selected are recorded; "rinsate select repeat RECORD" selects
from them again.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			if who.by == "" {
				return usageError{errors.New("who selects? give --by")}
			}
			return a.open(c.Context(), func(d *desk.Desk) error {
				var selected record.SelectionBody
				var receipt desk.Receipt
				if err := who.do(c.Context(), a.app, d, func(w *desk.Work) (err error) {
					selected, receipt, err = w.SelectAtRandom(e, seed)
					return err
				}); err != nil {
					return err
				}
				if a.json {
					return a.printJSON(struct {
						Record string `json:"record"`
						record.SelectionBody
					}{string(receipt.Record.ID), selected})
				}
				a.printSelected(selected)
				fmt.Fprintf(a.Out, "\n%d of %d scopes, seed %s, record %s\n", len(selected.Picks), len(selected.Candidates), selected.Seed, receipt.Record.ID)
				return nil
			})
		},
	}
	who.flags(c, desk.ToSelectAtRandom, false)
	c.Flags().StringVar(&seed, "seed", "", "seed of the selection (default: made at random and recorded)")
	c.AddCommand(a.repeatCommand(), a.sizeCommand())
	return c
}

func (a sampleCommands) printSelected(d record.SelectionBody) {
	rows := make([][]string, len(d.Picks))
	for i, p := range d.Picks {
		rows[i] = []string{p.Scope, p.Why}
	}
	a.printTable([]string{"scope", "why"}, rows)
}

func (a sampleCommands) repeatCommand() *cobra.Command {
	return &cobra.Command{
		Use: "repeat RECORD", Short: "Select again from what a selection recorded, and compare", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				selected, same, err := v.Day().SelectAgain(args[0])
				if err != nil {
					return err
				}
				if a.json {
					return a.printJSON(struct {
						Same bool `json:"same"`
						record.SelectionBody
					}{same, selected})
				}
				a.printSelected(selected)
				if !same {
					return &fault.Error{Code: fault.Broken, Message: "the selection cannot be repeated: the same seed and candidates give other scopes"}
				}
				fmt.Fprintf(a.Out, "\nthe same %d scopes again from seed %s\n", len(selected.Picks), selected.Seed)
				return nil
			})
		},
	}
}

func (a sampleCommands) sizeCommand() *cobra.Command {
	var rate, confidence, sensitivity string
	var fleet, positive, allowed int
	c := &cobra.Command{
		Use: "size", Short: "Say how many samples give a stated assurance",
		Long: `Say how many samples give a stated assurance.
With --rate: so many samples without a failure (or with --allowed failures) show, with
the stated confidence, that fewer than this share fails (binomial).
With --fleet and --positive: so many scopes of the fleet find at least one of the
positive ones with the stated confidence (hypergeometric), given the test's sensitivity.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			conf, err := stats.ParseConfidence(confidence)
			if err != nil {
				return usageError{fmt.Errorf("--confidence: %w", err)}
			}
			var n int
			var sentence string
			switch {
			case rate != "" && fleet == 0:
				bad, err := stats.ParseProbability(rate)
				if err != nil {
					return usageError{fmt.Errorf("--rate: %w", err)}
				}
				if n, err = stats.AssuranceSize(bad.Complement(), allowed, conf); err != nil {
					return usageError{err}
				}
				sentence = fmt.Sprintf("%d samples with at most %d failures show with confidence %s that fewer than %s fail", n, allowed, confidence, rate)
			case rate == "" && fleet > 0:
				se, err := stats.ParseProbability(sensitivity)
				if err != nil {
					return usageError{fmt.Errorf("--sensitivity: %w", err)}
				}
				if n, err = stats.DetectionSize(fleet, positive, se, conf); err != nil {
					return usageError{err}
				}
				sentence = fmt.Sprintf(
					"%d of %d scopes find at least one of %d positive ones with confidence %s, at sensitivity %s",
					n,
					fleet,
					positive,
					confidence,
					sensitivity,
				)
			default:
				return usageError{errors.New("give either --rate, or --fleet and --positive")}
			}
			if a.json {
				return a.printJSON(struct {
					Samples int    `json:"samples"`
					Meaning string `json:"meaning"`
				}{n, sentence})
			}
			fmt.Fprintln(a.Out, sentence)
			return nil
		},
	}
	c.Flags().StringVar(&rate, "rate", "", "share of failures to be excluded, such as 0.05")
	c.Flags().IntVar(&allowed, "allowed", 0, "failures allowed among the samples")
	c.Flags().IntVar(&fleet, "fleet", 0, "number of scopes")
	c.Flags().IntVar(&positive, "positive", 1, "number of positive scopes to be found")
	c.Flags().StringVar(&sensitivity, "sensitivity", "1", "share of positive scopes that a test finds")
	c.Flags().StringVar(&confidence, "confidence", "0.95", "confidence")
	return c
}
