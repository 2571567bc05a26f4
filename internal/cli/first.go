package cli

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rinsate/internal/demo"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/web"
)

// askedOnPage are the flags of init that the pages ask for.
var askedOnPage = []string{"site", "name", "zone", "rules", "by", "origin"}

// firstRun serves the page on which a facility begins, and then its pages.
func (a servingCommands) firstRun(c *cobra.Command, listen string, terms record.Terms) error {
	for _, name := range askedOnPage {
		if c.Flags().Changed(name) {
			return usageError{fmt.Errorf("--%s and --pages exclude each other: the page asks for everything", name)}
		}
	}
	if a.json {
		return usageError{fmt.Errorf("--json and --pages exclude each other: the page is for a person")}
	}
	if host, _, err := net.SplitHostPort(listen); err != nil || !loopback(host) {
		return usageError{fmt.Errorf("--listen %q: the first run is served to this computer only, such as at %s", listen, usualAddress)}
	}
	if err := a.home(a.data).Vacant(); err != nil {
		return err
	}
	l, err := new(net.ListenConfig).Listen(c.Context(), "tcp", listen)
	if err != nil {
		return fmt.Errorf("listen on %s: %w\nhint: name another address with --listen", listen, err)
	}
	_, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		return err
	}
	first, err := web.NewFirst(web.FirstOptions{
		Base: &url.URL{Scheme: "http", Host: "localhost:" + port}, Dir: a.data, Home: a.home, Zone: systemZone(), Terms: terms, Clock: a.clock,
		Log: slog.New(slog.NewTextHandler(a.Err, nil)),
		Invent: func(ctx context.Context, dir string, progress func(done, total int)) error {
			_, err := demo.Build(ctx, dir, demo.Options{Today: a.clock(), Progress: progress})
			return err
		},
		Accounts: inventedAccounts,
		Told: func(dir string) {
			fmt.Fprintf(a.Err, "data folder %s; pages at http://localhost:%s (end with Ctrl-C; from then on: rinsate --data %s serve)\n", dir, port, dir)
		},
	})
	if err != nil {
		l.Close() //nolint:errcheck // nothing was served on it
		return err
	}
	fmt.Fprintf(
		a.Err,
		"open this address in a browser of this computer; it works in one browser only:\n  %s\nnothing is made before the form there is sent (end with Ctrl-C)\n",
		first.Address(),
	)
	return first.Run(c.Context(), l)
}

// inventedAccounts makes the accounts of the invented hospital.
func inventedAccounts(ctx context.Context, door *identity.Door) ([]web.Invented, error) {
	if err := demo.AddAccounts(ctx, door); err != nil {
		return nil, err
	}
	all := make([]web.Invented, len(demo.Accounts))
	for i, x := range demo.Accounts {
		all[i] = web.Invented{Code: x.Code, Password: x.Password, Badge: x.Badge, PIN: x.PIN, Roles: x.Roles}
	}
	return all, nil
}

// systemZone is the IANA name of this computer's time zone, empty where it cannot be told.
func systemZone() string {
	link, _ := os.Readlink("/etc/localtime")       // a copy of the zone has no name
	text, _ := os.ReadFile("/etc/timezone")        // Debian writes it there
	_, linked, _ := strings.Cut(link, "zoneinfo/") // Linux and macOS
	for _, zone := range []string{os.Getenv("TZ"), linked, strings.TrimSpace(string(text))} {
		if _, err := time.LoadLocation(zone); err == nil && zone != "" && zone != "Local" {
			return zone
		}
	}
	return ""
}
