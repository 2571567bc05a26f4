package cli

import (
	"context"
	"errors"
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// A command signs for people as a page does: once the start of the site is signed, each who is named and has a password
// shows it. The passwords are read from the terminal, or one a line from standard input, in the order in which people are
// named: who acts, then a second person.

// signed says how people sign at a command, for its help.
const signed = `Once the start of the site is signed, --by is asked for their password, and --second too;
where input is no terminal these are the next lines of standard input, in that order.
Whoever has no password signs by being at this computer.`

// asAtMachine is where attempts come from that are made at a command.
const asAtMachine = "command line"

// second is the code of the second person whom the flags name.
func (x *actor) second() string {
	if f := x.flagged.Flags().Lookup("second"); f != nil {
		return f.Value.String()
	}
	return ""
}

// do does work at the desk as whoever the flags name, who sign it where it is a signature.
func (x *actor) do(ctx context.Context, a *app, d *desk.Desk, work func(*desk.Work) error) error {
	if err := x.sign(ctx, a, d, identity.SignedAtMachine(x.act)); err != nil {
		return err
	}
	err := x.on(d).Do(ctx, work)
	if fault.CodeOf(err) != fault.Unsigned || x.asked {
		return err
	}
	// Some acts are signatures by what they are about.
	if err := x.sign(ctx, a, d, true); err != nil {
		return err
	}
	return x.on(d).Do(ctx, work)
}

// doing is do for a command that may also only try.
func (x *actor) doing(a *app, d *desk.Desk) func(context.Context, func(*desk.Work) error) error {
	return func(ctx context.Context, work func(*desk.Work) error) error { return x.do(ctx, a, d, work) }
}

// sign asks everybody who is named and has a password for it, where the act is a signature or takes a second person.
func (x *actor) sign(ctx context.Context, a *app, d *desk.Desk, signature bool) error {
	second := x.second()
	if x.asked || !signature && second == "" {
		return nil
	}
	x.asked = true
	var owing []string
	if err := d.View(ctx, func(v desk.View) error {
		for _, code := range []string{x.by, second} {
			if owes, err := v.People().Owes(code); err != nil {
				return err
			} else if owes {
				owing = append(owing, code)
			}
		}
		return nil
	}); err != nil {
		return err
	}
	door := identity.NewDoor(d.DB, access.Standard)
	for _, code := range owing {
		password, err := a.password(code)
		if err != nil {
			return err
		}
		shown, err := door.Vouch(ctx, code, password, identity.Source{Address: asAtMachine})
		if err != nil {
			return fmt.Errorf("%s: %w", code, err)
		}
		x.shown = append(x.shown, shown)
	}
	return nil
}

// password reads the password of somebody who signs.
func (a *app) password(code string) (string, error) {
	what := "password of " + code
	if terminal, ok := a.terminal(); ok {
		return a.unseen(terminal, what+": ")
	}
	line, err := a.nextLine(what)
	if wrong, ok := errors.AsType[usageError](err); ok {
		err = usageError{fmt.Errorf("%w\nhint: whoever signs shows it: at a terminal, or in a line of standard input each, --by first, then --second", wrong.error)}
	}
	return line, err
}
