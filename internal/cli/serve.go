package cli

import (
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"net/url"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/store"
	"rinsate/internal/web"
	"rinsate/internal/web/kit"
)

// servingCommands are those that serve the pages.
type servingCommands struct{ *app }

// serving says where and how pages are served.
type serving struct {
	listen, base, certificate, key string
	hosts                          []string
	wall                           bool
}

// usualAddress is where pages are served when nothing else is asked for: on this computer alone.
const usualAddress = "127.0.0.1:8420"

func (a servingCommands) serveCommand() *cobra.Command {
	var o serving
	c := &cobra.Command{
		Use: "serve", Short: "Serve the pages",
		Long: `Serve the pages: the bench, today's board, the release check and the scopes for the day's work;
trends, signals, levels, meters, records, the set-up and the help for the rest.

Without flags the pages are for this computer alone. For other computers name the
address that people use with --base-url, and either give a certificate with
--tls-cert and --tls-key or put a proxy that speaks TLS in front. The base address
may have a path, such as https://pc-7.example/rinsate. A request that names another
server than this one is refused; where a proxy or an older link asks for a further
name, give that with --host.

Accounts are made with: rinsate user add`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return a.open(c.Context(), func(d *desk.Desk) error {
				if why := d.Behind(); why != "" {
					slog.New(slog.NewTextHandler(a.Err, nil)).Error("THESE RECORDS ARE A COPY: no scope is ready; say so with: rinsate restore --in-place",
						slog.String("found", why))
				}
				examining, end := context.WithCancel(c.Context())
				var beside sync.WaitGroup
				beside.Go(func() { d.DB.KeepExamining(examining, a.examined) })
				defer beside.Wait()
				defer end()
				stop, err := a.watchClock(c.Context(), d)
				if err != nil {
					return err
				}
				defer stop()
				return a.serve(c.Context(), d, o, web.Options{Clock: a.clock, Door: identity.NewDoor(d.DB, access.Standard)})
			})
		},
	}
	c.Flags().StringVar(&o.listen, "listen", usualAddress, "address and port to listen on")
	c.Flags().BoolVar(&o.wall, "wall", false, "open the board without people at /wall to screens where nobody signs in")
	c.Flags().StringVar(&o.base, "base-url", "", "address under which people open the pages (default http://localhost and the port)")
	c.Flags().StringSliceVar(&o.hosts, "host", nil, "further name under which the pages are asked for, such as a proxy's for this computer (repeatable)")
	c.Flags().StringVar(&o.certificate, "tls-cert", "", "certificate file (PEM)")
	c.Flags().StringVar(&o.key, "tls-key", "", "key file of the certificate (PEM)")
	return c
}

// examined notes in the log what a look at all records and tables has found.
func (a servingCommands) examined(e store.Examination, err error) {
	log := slog.New(slog.NewTextHandler(a.Err, nil))
	switch {
	case err != nil:
		log.Error("the records and tables could not be compared", slog.Any("error", err))
	case e.Fault != "":
		log.Error("THE LEDGER CONTRADICTS ITSELF: no scope is ready; keep a copy of the data folder and run: rinsate ledger verify", slog.String("fault", e.Fault))
	case len(e.Tables)+len(e.Guards) > 0:
		log.Error("ANOTHER PROGRAM HAS WRITTEN TO THE DATABASE: the tables "+e.String(), slog.Any("guards", e.Guards))
	default:
		log.Info("all records are whole and all tables follow from them", slog.Int64("records", e.Size))
	}
}

// serve serves until the context ends.
func (a servingCommands) serve(ctx context.Context, d *desk.Desk, o serving, pages web.Options) error {
	for _, name := range o.hosts {
		if shape := kit.HostFault(name); shape != "" {
			return usageError{fmt.Errorf("--host %q is not %s", name, shape)}
		}
	}
	certificate, err := o.tls()
	if err != nil {
		return err
	}
	l, err := new(net.ListenConfig).Listen(ctx, "tcp", o.listen)
	if err != nil {
		return fmt.Errorf("listen on %s: %w\nhint: name another address with --listen", o.listen, err)
	}
	base, err := o.address(l.Addr(), certificate != nil)
	if err != nil {
		l.Close() //nolint:errcheck // nothing was served on it
		return err
	}
	pages.Base, pages.Hosts, pages.Log, pages.Wall = base, o.hosts, slog.New(slog.NewTextHandler(a.Err, nil)), o.wall
	pages.Proxied = base.Scheme == "https" && certificate == nil
	s, err := web.New(d, pages)
	if err != nil {
		l.Close() //nolint:errcheck // nothing was served on it
		return err
	}
	fmt.Fprintf(a.Err, "pages at %s (end with Ctrl-C)\n", base)
	return s.Run(ctx, l, certificate)
}

// tls reads the certificate, nil when there is none.
func (o serving) tls() (*tls.Certificate, error) {
	switch {
	case o.certificate == "" && o.key == "":
		return nil, nil
	case o.certificate == "" || o.key == "":
		return nil, usageError{fmt.Errorf("--tls-cert and --tls-key are needed together")}
	}
	c, err := tls.LoadX509KeyPair(o.certificate, o.key)
	if err != nil {
		return nil, fmt.Errorf("the certificate %s with the key %s: %w", o.certificate, o.key, err)
	}
	return &c, nil
}

// address returns where people open the pages. Passwords must not travel in the clear, so that plain
// HTTP is for this computer alone.
func (o serving) address(listening net.Addr, secure bool) (*url.URL, error) {
	text := o.base
	if text == "" {
		_, port, err := net.SplitHostPort(listening.String())
		if err != nil {
			return nil, err
		}
		scheme := "http"
		if secure {
			scheme = "https"
		}
		text = scheme + "://localhost:" + port
	}
	base, err := url.Parse(text)
	if err != nil || base.Host == "" || base.Scheme != "http" && base.Scheme != "https" || base.RawQuery != "" || base.Fragment != "" || base.User != nil {
		return nil, usageError{fmt.Errorf("--base-url %q is not an address such as https://pc-7.example/rinsate", text)}
	}
	base.Path = strings.TrimRight(base.Path, "/")
	host, _, err := net.SplitHostPort(listening.String())
	if err != nil {
		return nil, err
	}
	local := net.ParseIP(host).IsLoopback()
	if base.Scheme == "http" && (!local || !loopback(base.Hostname())) {
		return nil, usageError{
			fmt.Errorf(
				"passwords would travel in the clear to %s; give --tls-cert and --tls-key, or put a proxy with TLS in front and name its address with --base-url https://…",
				text,
			),
		}
	}
	return base, nil
}

func loopback(host string) bool {
	return host == "localhost" || strings.HasSuffix(host, ".localhost") || net.ParseIP(host).IsLoopback()
}
