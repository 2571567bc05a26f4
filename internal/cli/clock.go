package cli

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// lookEvery is how often a program that serves looks whether the computer's clock stepped: what is written between
// a step and the look is told apart by its time (reprocessing.Clock.Unsure).
const lookEvery = 5 * time.Second

// watchClock notices steps of the computer's clock until what it returns is called, which has to be before the data
// folder is closed.
func (a *app) watchClock(ctx context.Context, d *desk.Desk) (stop func(), err error) {
	if err := d.NoticeClock(ctx); err != nil {
		return nil, err
	}
	if a.Elapsed == nil {
		return func() {}, nil
	}
	if _, err := a.Elapsed(); err != nil {
		return nil, fmt.Errorf("look at the clock that nobody sets: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	look := time.NewTicker(lookEvery)
	done := make(chan struct{})
	go func() {
		defer close(done)
		d.WatchClock(ctx, look.C, a.tick, func(err error) {
			if !errors.Is(err, context.Canceled) {
				fmt.Fprintf(a.Err, "the computer's clock stepped, and that could not be recorded: %v\n", err)
			}
		})
	}()
	return func() {
		look.Stop()
		cancel()
		<-done
	}, nil
}

// tick looks at both clocks at once. A clock that cannot be read counts as standing still, which is noticed.
func (a *app) tick() reprocessing.Ticked {
	passed, err := a.Elapsed()
	if err != nil {
		passed = 0
	}
	return reprocessing.Ticked{Wall: unit.At(a.clock()), Elapsed: passed}
}

func (a dayCommands) clockCommand() *cobra.Command {
	group := &cobra.Command{
		Use: "clock", Short: "Say whether the computer's clock is in doubt, and compare it with another one",
		Long: `Say whether the computer's clock is in doubt. It is after a step of more than a minute
back, or more than ten minutes ahead, and once another clock is found to show something
else: then no scope is ready until people have compared another clock, and both agree.
Exit code 0: not in doubt, 4: in doubt.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.view(c, func(v desk.View) error {
				doubt, err := v.Day().ClockDoubted(v.Now())
				if err != nil {
					return err
				}
				if doubt != nil {
					a.code = exitNotNow
				}
				if a.json {
					return a.printJSON(clockJSON{At: v.Now(), Doubt: doubt})
				}
				fmt.Fprintf(a.Out, "this computer's clock shows %s\n", v.Now().In(v.Zone()))
				if doubt == nil {
					fmt.Fprintln(a.Out, "nothing speaks against it")
					return nil
				}
				fmt.Fprintf(a.Out, "%s\nnext: %s\n", doubt.Why, doubt.Next)
				return nil
			})
		},
	}
	group.AddCommand(a.compareClockCommand())
	return group
}

// clockJSON is what is known of the clock, for programs.
type clockJSON struct {
	At    unit.Instant       `json:"at"`
	Doubt *desk.ClockDoubted `json:"doubt,omitempty"`
}

func (a dayCommands) compareClockCommand() *cobra.Command {
	var who actor
	var second, saw, other string
	c := &cobra.Command{
		Use: "compare", Short: "Record that people compared the computer's clock with another one",
		Long: `Record that people compared the computer's clock with another one that they trust, and
what that showed. Where the two agree to within two minutes the clock is in doubt no
more: the lead may say so alone, anybody else with a second person. Where they are
further apart anybody on duty puts that on record, and no scope is ready until the
computer's clock is set right and compared again.
Exit code 4: the two are apart.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			e, err := who.entry()
			if err != nil {
				return err
			}
			var apart string
			err = a.act(c, &who, func(w *desk.Work) (desk.Receipt, error) {
				at, err := instant(saw, w.Zone(), w.Now())
				if err != nil {
					return desk.Receipt{}, err
				}
				r, err := w.Care().CompareClock(e, reprocessing.ClockNote{By: who.by, Second: second, Other: reprocessing.OtherClock(other), Saw: at})
				if err != nil {
					return r, err
				}
				n, err := record.Body[reprocessing.ClockNote](r.Record)
				if n.Noticed == reprocessing.ByApart {
					apart = n.Words()
				}
				return r, err
			}, "the clock is compared")
			if err == nil && apart != "" {
				a.code = exitNotNow
				if !a.json {
					fmt.Fprintf(a.Out, "! %s: no scope is ready until it is set right and compared again\n", apart)
				}
			}
			return err
		},
	}
	who.flags(c, desk.ToCompareClock, true)
	c.Flags().StringVar(&second, "second", "", "code of the second person")
	c.Flags().StringVar(&saw, "saw", "", "what the other clock showed, such as 2026-11-30T12:00")
	c.Flags().StringVar(&other, "other", "", "which clock it was: "+scope.Words(reprocessing.OtherClocks))
	must(c.MarkFlagRequired("saw"))
	must(c.MarkFlagRequired("other"))
	return c
}
