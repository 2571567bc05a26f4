package cli

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/identity"
	"rinsate/internal/web"
)

func (a servingCommands) demoCommand() *cobra.Command {
	var once bool
	var cycles int
	var o serving
	c := &cobra.Command{
		Use: "demo", Short: "Build an invented hospital with a year of records, serve its pages and show today's list",
		Long: `Build an invented hospital with a year of records in a new folder (--data, or a fresh
temporary one) and serve its pages to this computer, until Ctrl-C. The pages are open at
once, while the year is still being recorded; when it is complete, today's list is
printed: what is due, what is on hold and why, what may be used until when, and the last
decisions. --once builds, prints the list and ends, and so does --json. Everything in it
is invented.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if !once && !a.json {
				if host, _, err := net.SplitHostPort(o.listen); err != nil || !loopback(host) {
					return usageError{
						fmt.Errorf(
							"--listen %q: the demo's passwords are known to everybody, so that it is served to this computer only, such as at %s",
							o.listen,
							usualAddress,
						),
					}
				}
			}
			if !c.Flags().Changed("data") {
				dir, err := os.MkdirTemp("", "rinsate-demo-")
				if err != nil {
					return err
				}
				a.data = filepath.Join(dir, "data")
			}
			fmt.Fprintf(a.Err, "building an invented hospital in %s …\n", a.data)
			start := a.clock()
			options := demo.Options{Today: start, Cycles: cycles}
			if !once && !a.json {
				return a.serveDemo(c, start, options, o)
			}
			summary, err := demo.Build(c.Context(), a.data, options)
			if err != nil {
				return err
			}
			a.built(summary, start)
			// Whoever looks at the list looks at it as of the instant it was built for.
			a.clock = func() time.Time { return start }
			if err := a.open(c.Context(), func(d *desk.Desk) error { return a.today(c, d) }); err != nil {
				return err
			}
			if !a.json {
				a.tryNext()
			}
			return nil
		},
	}
	c.Flags().BoolVar(&once, "once", false, "print and exit")
	c.Flags().StringVar(&o.listen, "listen", usualAddress, "address and port of this computer to serve the pages at")
	c.Flags().IntVar(&cycles, "cycles", 0, "size of the invented year (default about 9000)")
	return c
}

// built says what was made.
func (a servingCommands) built(s demo.Summary, start time.Time) {
	fmt.Fprintf(a.Err, "%d cycles, %d readings, %d records in %s\n", s.Cycles, s.Readings, s.Records, a.clock().Sub(start).Round(100*time.Millisecond))
}

// serveDemo serves the invented hospital's pages while its year is recorded, and from then on as of now.
// The door has the present all the time: a session must not end because the year goes by in seconds.
func (a servingCommands) serveDemo(c *cobra.Command, start time.Time, options demo.Options, o serving) (err error) {
	ctx, stop := context.WithCancelCause(c.Context())
	defer stop(nil)
	year, err := demo.Begin(ctx, a.data, options, a.clock)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, year.DB.Close()) }()
	d := desk.New(year.DB)
	filled := make(chan struct{})
	go func() {
		defer close(filled)
		if err := a.fillDemo(ctx, c, year, d, start); err != nil {
			stop(err)
		}
	}()
	o.wall = true
	err = a.serve(ctx, d, o, web.Options{
		Clock: func() time.Time { return year.DB.Now().Time() }, Demo: true, Filling: year.Share,
		Door: identity.NewDoor(d.DB, access.Standard).Beside(a.clock),
	})
	failed := context.Cause(ctx)
	if err != nil { // nobody sees the year go by
		stop(err)
	}
	<-filled
	switch _, more := year.Share(); {
	case err != nil:
		return err
	case failed != nil && c.Context().Err() == nil:
		return failed
	case more:
		fmt.Fprintf(a.Err, "ended before the year was complete; %s holds a part of it and can be removed\n", a.data)
	}
	return nil
}

// fillDemo makes the invented people's accounts, lets the year go by, and shows today's list.
func (a servingCommands) fillDemo(ctx context.Context, c *cobra.Command, year *demo.Year, d *desk.Desk, start time.Time) error {
	if err := demo.AddAccounts(ctx, identity.NewDoor(d.DB, access.Standard)); err != nil {
		return err
	}
	a.printInvited()
	summary, err := year.Record(ctx)
	if err != nil {
		return err
	}
	a.built(summary, start)
	if err := a.today(c, d); err != nil {
		return err
	}
	a.tryNext()
	return nil
}

// printInvited prints who can sign in to the invented hospital.
func (a servingCommands) printInvited() {
	a.heading("Sign in as")
	rows := make([][]string, len(demo.Accounts))
	for i, x := range demo.Accounts {
		rows[i] = []string{x.Code, a.terms.Roles(x.Roles), x.Password, x.Badge, x.PIN}
	}
	a.printTable([]string{"code", "role", "password", "badge", "PIN"}, rows)
}

// lastShown is how many of the latest decisions today's list shows.
const lastShown = 8

// today prints what the lead of a reprocessing department asks in the morning.
func (a servingCommands) today(c *cobra.Command, d *desk.Desk) error {
	return d.View(c.Context(), func(v desk.View) error {
		board, err := v.Day().BoardNow(v.Now())
		if err != nil {
			return err
		}
		verifications, err := v.Day().LastVerifications(lastShown)
		if err != nil {
			return err
		}
		if a.json {
			return a.printJSON(struct {
				Data  string                  `json:"data"`
				Board []reprocessing.Answer   `json:"board"`
				Last  []reprocessing.Decision `json:"last_verifications"`
			}{a.data, board, verifications})
		}
		site := d.DB.Site()
		fmt.Fprintf(a.Out, "%s, %s\n", site.Name, v.Now().In(v.Zone()))
		a.heading("Due to be sampled")
		dayCommands(a).printDue(v, dueOf(board))
		for _, s := range []reprocessing.State{
			reprocessing.OnHold, reprocessing.OutOfService, reprocessing.InReprocessing, reprocessing.NotKnown,
			reprocessing.PaperDecides, reprocessing.NothingAgainst, reprocessing.Ready,
		} {
			var rows [][]string
			for _, answer := range board {
				if answer.State != s {
					continue
				}
				next := ""
				if len(answer.Next) > 0 {
					next = answer.Next[0]
				}
				if s == reprocessing.Ready {
					next = moment(v, answer.Until)
				}
				rows = append(rows, []string{answer.Scope, firstReason(answer), next})
			}
			if len(rows) == 0 {
				continue
			}
			a.heading("%s (%d)", a.terms.state(s), len(rows))
			last := "next"
			if s == reprocessing.Ready {
				last = "until"
			}
			a.printTable([]string{"scope", "because", last}, rows)
		}
		a.heading("Last decisions")
		rows := make([][]string, len(verifications))
		for i, r := range verifications {
			rows[i] = []string{
				r.Last.In(v.Zone()),
				r.Scope,
				reading.Test(r.Verification.Cleaning),
				a.terms.outcome(r.Verification.Outcome),
				r.Verification.Next.Words,
				short(r.ID),
			}
		}
		a.printTable([]string{"at", "scope", "test", "outcome", "next", "record"}, rows)
		a.printCaution()
		return nil
	})
}

func (a servingCommands) tryNext() {
	a.heading("Try next")
	for _, line := range []string{
		"ready D-01", "history D-01 --limit 20", "board", "due", "signals", "trend D-02", "variation", "meter list",
		"select --by L-01 --seed example", "ledger verify", "ledger export " + filepath.Join(os.TempDir(), "rinsate-export"),
	} {
		fmt.Fprintf(a.Out, "  rinsate --data %s %s\n", a.data, line)
	}
}
