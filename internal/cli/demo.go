package cli

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/identity"
)

func (a *app) demoCommand() *cobra.Command {
	var once bool
	var turnarounds int
	var o serving
	c := &cobra.Command{
		Use: "demo", Short: "Build an invented hospital with a year of records and show today's list",
		Long: `Build an invented hospital with a year of records in a new folder (--data, or a fresh
temporary one) and show today's list: what is due, what is held and why, what may be
used until when, and the last decisions. Then serve its pages to this machine, until
Ctrl-C; --once prints and ends, and so does --json. Everything in it is invented.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if !c.Flags().Changed("data") {
				dir, err := os.MkdirTemp("", "rinsate-demo-")
				if err != nil {
					return err
				}
				a.data = filepath.Join(dir, "data")
			}
			fmt.Fprintf(a.Err, "building an invented hospital in %s …\n", a.data)
			start := a.clock()
			summary, err := demo.Build(c.Context(), a.data, demo.Options{Today: start, Turnarounds: turnarounds})
			if err != nil {
				return err
			}
			fmt.Fprintf(a.Err, "%d turnarounds, %d readings, %d records in %s\n", summary.Turnarounds, summary.Readings, summary.Records, a.clock().Sub(start).Round(100*time.Millisecond))
			// Whoever looks at the list looks at it as of the instant it was built for.
			running := a.clock
			a.clock = func() time.Time { return start }
			if err := a.open(c.Context(), func(d *desk.Desk) error { return a.today(c, d) }); err != nil {
				return err
			}
			if a.json {
				return nil
			}
			a.tryNext()
			if once {
				return nil
			}
			a.clock = running
			return a.open(c.Context(), func(d *desk.Desk) error { return a.serveDemo(c.Context(), d, o) })
		},
	}
	c.Flags().BoolVar(&once, "once", false, "print and exit")
	c.Flags().StringVar(&o.listen, "listen", usualAddress, "address and port of this machine to serve the pages at")
	c.Flags().IntVar(&turnarounds, "turnarounds", 0, "size of the invented year (default about 9000)")
	return c
}

// serveDemo makes the invented people's accounts and serves the pages.
func (a *app) serveDemo(ctx context.Context, d *desk.Desk, o serving) error {
	if host, _, err := net.SplitHostPort(o.listen); err != nil || !loopback(host) {
		return usageError{fmt.Errorf("--listen %q: the demo's passwords are known to everybody, so that it is served to this machine only, such as at %s", o.listen, usualAddress)}
	}
	if err := demo.AddAccounts(ctx, identity.NewDoor(d.DB, access.Standard)); err != nil {
		return err
	}
	a.heading("Sign in as")
	rows := make([][]string, len(demo.Accounts))
	for i, x := range demo.Accounts {
		rows[i] = []string{x.Code, access.Words(x.Roles), x.Password, x.Badge, x.PIN}
	}
	a.printTable([]string{"code", "role", "password", "badge", "PIN"}, rows)
	o.wall = true
	return a.serve(ctx, d, o, true)
}

// lastShown is how many of the latest decisions today's list shows.
const lastShown = 8

// today prints what the lead of a reprocessing department asks in the morning.
func (a *app) today(c *cobra.Command, d *desk.Desk) error {
	return d.View(c.Context(), func(v desk.View) error {
		board, err := v.Board(v.Now())
		if err != nil {
			return err
		}
		rounds, err := v.LastRounds(lastShown)
		if err != nil {
			return err
		}
		if a.json {
			return a.printJSON(struct {
				Data  string                `json:"data"`
				Board []turnaround.Answer   `json:"board"`
				Last  []turnaround.Decision `json:"last_rounds"`
			}{a.data, board, rounds})
		}
		site := d.DB.Site()
		fmt.Fprintf(a.Out, "%s, %s\n", site.Name, v.Now().In(v.Zone()))
		a.heading("Due to be sampled")
		a.printDue(v, dueOf(board))
		for _, s := range []turnaround.State{turnaround.Held, turnaround.Out, turnaround.InWork, turnaround.Unknown, turnaround.Ready} {
			var rows [][]string
			for _, answer := range board {
				if answer.State != s {
					continue
				}
				next := ""
				if len(answer.Next) > 0 {
					next = answer.Next[0]
				}
				if s == turnaround.Ready {
					next = moment(v, answer.Until)
				}
				rows = append(rows, []string{answer.Scope, firstReason(answer), next})
			}
			if len(rows) == 0 {
				continue
			}
			a.heading("%s (%d)", stateMark(s), len(rows))
			last := "next"
			if s == turnaround.Ready {
				last = "until"
			}
			a.printTable([]string{"scope", "because", last}, rows)
		}
		a.heading("Last decisions")
		rows := make([][]string, len(rounds))
		for i, r := range rounds {
			rows[i] = []string{r.Last.In(v.Zone()), r.Scope, fmt.Sprint(r.Round.Attempt), outcomeMark(r.Round.Outcome), r.Round.Next.Words, short(r.ID)}
		}
		a.printTable([]string{"at", "scope", "attempt", "outcome", "next", "record"}, rows)
		a.printCaution()
		return nil
	})
}

func (a *app) tryNext() {
	a.heading("Try next")
	for _, line := range []string{"gate D-01", "history D-01 --limit 20", "board", "due", "alarms", "trend D-02", "attribute", "meter list", "draw --by L-01 --seed example", "ledger verify", "ledger export " + filepath.Join(os.TempDir(), "rinsate-export")} {
		fmt.Fprintf(a.Out, "  rinsate --data %s %s\n", a.data, line)
	}
}
