// Package cli is the command line: each command parses its flags, calls the desk and prints.
//
// People's output is a table on standard output, talk goes to standard error. With --json the
// output is one JSON document, whose fields are a contract: they are added to, never renamed.
// Exit codes: 0 done, 1 an error, 2 wrong usage, 3 readings over the action level (check), 4 the
// scope must not be used (not ready), or there is a doubt (clock, restore show).
package cli

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/identity"
	"rinsate/internal/present/words"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/wire/table"
)

// The exit codes.
const (
	exitDone   = 0
	exitError  = 1
	exitUsage  = 2
	exitOver   = 3
	exitNotNow = 4
)

// Streams are where a command reads and prints.
type Streams struct {
	In       io.Reader
	Out, Err io.Writer
	// Elapsed is a clock that nobody sets, to hold the computer's clock against while pages are served (Elapsed);
	// nil where that is a clock of a test.
	Elapsed func() (time.Duration, error)
}

// app is what all commands share.
type app struct {
	Streams // what is printed passes a text.Writer
	// screen and talk are the files behind Out and Err, nil where they are none.
	screen, talk *os.File
	// lines is what is left of standard input; nil before anything was read of it.
	lines *bufio.Reader
	clock func() time.Time
	data  string
	// patientKey is the file of the key of the patients' numbers; empty for the one in the data folder.
	patientKey string
	terms      spoken // of the site whose folder is open
	json       bool
	// code is the exit code of a command that ran without an error.
	code int
	// called says that the command line was understood; an error before that is one of usage.
	called bool
}

// usageError is a mistake in how a command was called.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// newApp returns a program that writes to streams. What older records hold may not command a terminal.
func newApp(streams Streams, clock func() time.Time) *app {
	a := &app{Streams: streams, clock: clock}
	a.screen, _ = streams.Out.(*os.File)
	a.talk, _ = streams.Err.(*os.File)
	a.Out, a.Err = text.NewWriter(streams.Out), text.NewWriter(streams.Err)
	return a
}

// report prints an error in two parts: what is wrong, and what to do about it.
func (a *app) report(err error) {
	if a.json {
		out := struct {
			Error string `json:"error"`
			Code  string `json:"code,omitempty"`
			Hint  string `json:"hint,omitempty"`
		}{Error: err.Error(), Code: string(fault.CodeOf(err))}
		if e, ok := errors.AsType[*fault.Error](err); ok {
			out.Error, out.Hint = strings.TrimSuffix(err.Error(), "\nhint: "+e.Hint), e.Hint
		}
		if text, jsonErr := json.Marshal(out); jsonErr == nil {
			fmt.Fprintln(a.Err, string(text))
			return
		}
	}
	fmt.Fprintln(a.Err, "rinsate: "+err.Error())
}

// defaultData is the data folder of somebody who named none.
func defaultData() string {
	if dir := os.Getenv("RINSATE_DATA"); dir != "" {
		return dir
	}
	return "rinsate-data"
}

// hintArgs adds to errors of argument counts where to look, for a command and every one below.
func hintArgs(c *cobra.Command) {
	if check := c.Args; check != nil {
		c.Args = func(c *cobra.Command, args []string) error {
			if err := check(c, args); err != nil {
				return fmt.Errorf("%w\nhint: %s --help", err, c.CommandPath())
			}
			return nil
		}
	}
	for _, sub := range c.Commands() {
		hintArgs(sub)
	}
}

// home is where the records of a data folder are kept.
func (a *app) home(dir string) store.Home { return sqlite.Folder(dir).WithPatientKey(a.patientKey) }

// open opens the data folder for one command.
func (a *app) open(ctx context.Context, work func(*desk.Desk) error) (err error) {
	db, err := a.home(a.data).Open(ctx, a.clock)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	a.terms = spoken{words.Of(db.Site())}
	return work(desk.New(db))
}

// look opens the data folder for one command that records nothing. It takes no lock, so that it works beside a program
// that serves the folder, and on a folder that can only be read.
func (a *app) look(ctx context.Context, ask func(*desk.Desk) error) (err error) {
	db, err := a.home(a.data).Look(ctx, a.clock)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	a.terms = spoken{words.Of(db.Site())}
	d := desk.New(db)
	if why := d.Behind(); why != "" {
		fmt.Fprintf(a.Err, "%s\nhint: the lead says so with: rinsate restore --in-place\n", why)
	}
	return ask(d)
}

// view opens the data folder for one command that only asks.
func (a *app) view(c *cobra.Command, ask func(desk.View) error) error {
	return a.look(c.Context(), func(d *desk.Desk) error { return d.View(c.Context(), ask) })
}

// boardAt returns every scope's state at the instant of an --at flag.
func boardAt(v desk.View, at string) ([]reprocessing.Answer, error) {
	when, err := instant(at, v.Zone(), v.Now())
	if err != nil {
		return nil, err
	}
	return v.Day().Board(when)
}

// instant reads a --at flag: RFC 3339, or a date and time in the facility's zone.
func instant(text string, zone *time.Location, now unit.Instant) (unit.Instant, error) {
	if text == "" {
		return now, nil
	}
	if at, err := table.ParseTime(text); err == nil {
		return at, nil
	}
	for _, layout := range []string{"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			return unit.At(t), nil
		}
	}
	return 0, usageError{fmt.Errorf("%q is not a time; write 2026-11-25T08:30:00+01:00, or 2026-11-25 08:30 in the facility's zone", text)}
}

// printJSON prints one JSON document.
func (a *app) printJSON(v any) error {
	e := json.NewEncoder(a.Out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// short is the beginning of a record's id, enough to find it again by.
func short(id string) string {
	if len(id) > 13 {
		return id[:13]
	}
	return id
}

// actor is who acts in a command, as the flags name them, and what the command does.
type actor struct {
	by, id  string
	act     access.Act
	flagged *cobra.Command
	// shown are those who have shown who they are; asked says that everybody was asked who has to.
	shown []access.Actor
	asked bool
}

// flags adds the flags that say who acts to the command that does an act.
func (x *actor) flags(c *cobra.Command, act access.Act, required bool) {
	x.named(c, act, "code of the person who acts; where that is a signature their password is asked for")
	c.Flags().StringVar(&x.id, "id", "", "id of the record, so that sending it twice stores it once")
	if required {
		must(c.MarkFlagRequired("by"))
	}
}

// actName is the annotation that says which act a command does.
const actName = "act"

// named adds the flag that names who acts to the command that does an act.
func (x *actor) named(c *cobra.Command, act access.Act, usage string) {
	x.act, x.flagged = act, c
	c.Flags().StringVar(&x.by, "by", "", usage)
	if c.Annotations == nil {
		c.Annotations = map[string]string{}
	}
	c.Annotations[actName] = act.Name
}

// operator is whoever runs the command, for whom the flag names, with those who have shown who they are.
func (x *actor) operator() access.Actor { return access.Operator(x.by).Having(x.shown...) }

// on returns the desk for whoever runs the command: whoever can open the data folder acts as its operator.
func (x *actor) on(d *desk.Desk) desk.Acting { return d.As(x.operator()) }

func (x *actor) entry() (desk.Entry, error) {
	e := desk.Entry{By: x.by}
	if x.id != "" {
		id, err := ledger.ParseID(x.id)
		if err != nil {
			return e, usageError{err}
		}
		e.ID = id
	}
	return e, nil
}

// onAccount is the entry of an act on an account.
func (x *actor) onAccount() (identity.Entry, error) {
	e, err := x.entry()
	return identity.Entry{ID: e.ID, Actor: x.operator()}, err
}

// must is for errors that only a mistake in this package can cause.
func must(err error) {
	if err != nil {
		panic(err)
	}
}
