package cli

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/store"
)

// userCommands are those of accounts.
type userCommands struct{ *app }

func (a userCommands) userCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "user", Short: "Look after the accounts with which people sign in to the pages", Args: cobra.NoArgs,
		Long: `Look after the accounts with which people sign in to the pages. The first administrator
is made here or by "rinsate init --pages", on the computer that keeps the records, and
nowhere else. Passwords, PINs and badges are read from the terminal or from standard
input, never from a flag, where others on this computer could see them. Every change
leaves a record that names codes and roles; names and secrets stay outside the ledger.

Roles: ` + access.Words(access.Roles),
	}
	c.AddCommand(a.userAdd(), a.userList(), a.userRoles(), a.userPassword(), a.userPIN(), a.userBadge(), a.userDisable(), a.userReset(), a.userSessions())
	return c
}

// doorAct opens the data folder for one act on accounts, which whoever acts signs.
func (a userCommands) doorAct(c *cobra.Command, who *actor, e *identity.Entry, act func(context.Context, *identity.Door) error) error {
	return a.open(c.Context(), func(d *desk.Desk) error {
		if err := who.sign(c.Context(), a.app, d, identity.SignedAtMachine(who.act)); err != nil {
			return err
		}
		e.Actor, e.Second = who.operator(), agrees(who.second())
		return act(c.Context(), identity.NewDoor(d.DB, access.Standard))
	})
}

// printedAccess is what a change of an account leaves, in JSON.
type printedAccess struct {
	printedReceipt
	Code string `json:"code"`
	// Once is a code for one sign-in.
	Once string `json:"once,omitempty"`
}

// told prints what was done to an account, and the one-time code where there is one.
func (a userCommands) told(r identity.Receipt, code, once, format string, args ...any) error {
	if a.json {
		return a.printJSON(printedAccess{receiptJSON(desk.Receipt{Record: r.Record, Fresh: r.Fresh}), code, once})
	}
	fmt.Fprintf(a.Out, "%s: record %s\n", fmt.Sprintf(format, args...), r.Record.ID)
	if once != "" {
		fmt.Fprintf(a.Out, "one-time code for the next sign-in, valid for %d hours:\n  %s\n", int(access.OnceHolds.Hours()), once)
	}
	return nil
}

// secret reads a secret: the first line of standard input, or twice from the terminal without showing it.
func (a userCommands) secret(what string, fromInput bool) (string, error) {
	if fromInput {
		return a.nextLine(what)
	}
	terminal, ok := a.terminal()
	if !ok {
		return "", usageError{fmt.Errorf("the %s is read from a terminal\nhint: in a script send it to standard input and add --%s-stdin", what, what)}
	}
	first, err := a.unseen(terminal, what+": ")
	if err != nil {
		return "", err
	}
	second, err := a.unseen(terminal, what+" again: ")
	if err != nil {
		return "", err
	}
	if first != second {
		return "", usageError{errors.New("the two are not the same; nothing was changed")}
	}
	return first, nil
}

// secretFlag adds the flag that reads a secret from standard input.
func secretFlag(c *cobra.Command, into *bool, what string) {
	c.Flags().BoolVar(into, what+"-stdin", false, "read the "+what+" from the first line of standard input")
}

func (a userCommands) userAdd() *cobra.Command {
	var who actor
	var name, roles string
	var stdin bool
	c := &cobra.Command{
		Use: "add CODE", Short: "Make an account for a code, and print a one-time code to start with", Args: cobra.ExactArgs(1),
		Long: `Make an account for a code. It prints a one-time code with which the person signs in
within 24 hours and sets a password that nobody else knows. With --password-stdin the
account begins with a password instead, which has to be changed at the first sign-in
unless the person makes the account for themselves. A code is never given to another
person, not even after its account was disabled.`,
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.onAccount()
			if err != nil {
				return err
			}
			n := identity.NewAccount{Code: args[0], Name: name}
			if n.Roles, err = access.ParseRoles(roles); err != nil {
				return usageError{err}
			}
			if stdin {
				if n.Password, err = a.secret("password", true); err != nil {
					return err
				}
			}
			return a.doorAct(c, &who, &e, func(ctx context.Context, d *identity.Door) error {
				r, once, err := d.AddAccount(ctx, e, n)
				if err != nil {
					return err
				}
				return a.told(r, n.Code, once, "%s can sign in", n.Code)
			})
		},
	}
	who.flags(c, identity.ToAddAccount, true)
	c.Flags().StringVar(&name, "name", "", "name of the person, shown on pages and kept outside the ledger")
	c.Flags().StringVar(&roles, "roles", "", "roles, separated by commas")
	secondFlag(c)
	secretFlag(c, &stdin, "password")
	must(c.MarkFlagRequired("name"))
	must(c.MarkFlagRequired("roles"))
	return c
}

// printedAccount is an account in JSON.
type printedAccount struct {
	store.Account
	Failures int                `json:"failures"`
	Password bool               `json:"password"`
	PIN      bool               `json:"pin"`
	Badge    bool               `json:"badge"`
	Passkeys int                `json:"passkeys"`
	Once     bool               `json:"once"`
	Granted  []identity.Granted `json:"granted"`
}

func (a userCommands) userList() *cobra.Command {
	return &cobra.Command{
		Use: "list [CODE]", Short: "List the accounts, or one with everything that was granted to it", Args: cobra.MaximumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				accounts, err := v.People().Accounts()
				if err != nil {
					return err
				}
				if len(args) == 1 {
					one, err := v.People().Account(args[0])
					if err != nil {
						return err
					}
					accounts = []store.Account{one}
				}
				printed := make([]printedAccount, len(accounts))
				for i, x := range accounts {
					once := x.Once != "" && v.Now() < x.OnceUntil
					printed[i] = printedAccount{
						Account:  x,
						Failures: x.Failures.Count,
						Password: x.Password != "",
						PIN:      x.PIN != "",
						Badge:    x.Badge != "",
						Once:     once,
					}
					keys, err := v.People().Passkeys(x.Code)
					if err != nil {
						return err
					}
					printed[i].Passkeys = len(keys)
					if printed[i].Granted, err = v.People().Grants(x.Code); err != nil {
						return err
					}
				}
				if a.json {
					return a.printJSON(printed)
				}
				a.printAccounts(v, printed, len(args) == 1)
				return nil
			})
		},
	}
}

func (a userCommands) printAccounts(v desk.View, accounts []printedAccount, granted bool) {
	var rows, history [][]string
	for _, x := range accounts {
		rows = append(rows, []string{x.Code, x.Name, a.terms.Roles(x.Roles), x.ways(), x.state()})
		for _, g := range x.Granted {
			history = append(history, []string{g.At.In(v.Zone()), g.By, a.terms.Account(g.Change), a.terms.Roles(g.Roles)})
		}
	}
	a.printTable([]string{"code", "name", "roles", "signs in with", "state"}, rows)
	if granted {
		a.heading("On record")
		a.printTable([]string{"at", "by", "change", "roles from then on"}, history)
	}
}

// ways says what somebody may sign in with.
func (x printedAccount) ways() string {
	var ways []string
	for _, w := range []struct {
		has  bool
		word string
	}{
		{x.Password, "password"},
		{x.Passkeys == 1, "passkey"},
		{x.Passkeys > 1, strconv.Itoa(x.Passkeys) + " passkeys"},
		{x.PIN && x.Badge, "badge and PIN"},
		{x.PIN && !x.Badge, "PIN to unlock"},
		{x.Badge && !x.PIN, "badge without a PIN"},
		{x.Once, "one-time code"},
	} {
		if w.has {
			ways = append(ways, w.word)
		}
	}
	if len(ways) == 0 {
		return "nothing"
	}
	return strings.Join(ways, ", ")
}

func (x printedAccount) state() string {
	switch {
	case x.Disabled.Known():
		return "− disabled"
	case x.Account.Failures.Spent():
		return "■ closed after " + strconv.Itoa(x.Failures) + " failures"
	case x.MustChange:
		return "… must change the password"
	case !x.Password && !x.Once:
		return "○ needs a reset"
	case !x.Password:
		return "… has not signed in yet"
	case x.Failures > 0:
		return "▲ " + strconv.Itoa(x.Failures) + " failures in a row"
	}
	return "✓ open"
}

// secondFlag adds the flag that names who else signs a change of an account.
func secondFlag(c *cobra.Command) {
	c.Flags().String("second", "", "code of a second person who signs it too: infection prevention takes one")
}

func (a userCommands) userRoles() *cobra.Command {
	var who actor
	c := &cobra.Command{
		Use: "roles CODE ROLE,ROLE...", Short: "Give an account these roles and no others; \"\" takes all away", Args: cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.onAccount()
			if err != nil {
				return err
			}
			roles, err := access.ParseRoles(args[1])
			if err != nil {
				return usageError{err}
			}
			return a.doorAct(c, &who, &e, func(ctx context.Context, d *identity.Door) error {
				r, err := d.ChangeRoles(ctx, e, args[0], roles)
				if err != nil {
					return err
				}
				words := a.terms.Roles(roles)
				if words == "" {
					words = "no role"
				}
				return a.told(r, args[0], "", "%s has: %s", args[0], words)
			})
		},
	}
	who.flags(c, identity.ToChangeRoles, true)
	secondFlag(c)
	return c
}

func (a userCommands) userPassword() *cobra.Command {
	return a.userSecret(identity.ToSetPassword, "password", "Set the password of an account and end its sessions", false, (*identity.Door).SetPassword)
}

func (a userCommands) userPIN() *cobra.Command {
	return a.userSecret(identity.ToSetPIN, "pin", "Set the PIN for taking over a shared bench with the badge", true, (*identity.Door).SetPIN)
}

func (a userCommands) userBadge() *cobra.Command {
	return a.userSecret(identity.ToSetBadge, "badge", "Tie the text of a badge to an account", true, (*identity.Door).SetBadge)
}

// userSecret makes the command that sets one kind of secret.
func (a userCommands) userSecret(
	does access.Act,
	what, short string,
	removable bool,
	set func(d *identity.Door, ctx context.Context, e identity.Entry, code, secret string) (identity.Receipt, error),
) *cobra.Command {
	var who actor
	var stdin, remove bool
	c := &cobra.Command{
		Use: what + " CODE", Short: short, Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.onAccount()
			if err != nil {
				return err
			}
			done, secret := "set", ""
			switch {
			case remove && stdin:
				return usageError{errors.New("either --remove or --" + what + "-stdin")}
			case remove:
				done = "removed"
			default:
				if secret, err = a.secret(what, stdin); err != nil {
					return err
				}
				if secret == "" {
					return usageError{fmt.Errorf("the %s is empty; nothing was changed", what)}
				}
			}
			return a.doorAct(c, &who, &e, func(ctx context.Context, d *identity.Door) error {
				r, err := set(d, ctx, e, args[0], secret)
				if err != nil {
					return err
				}
				return a.told(r, args[0], "", "%s of %s is %s", what, args[0], done)
			})
		},
	}
	who.flags(c, does, true)
	secondFlag(c)
	secretFlag(c, &stdin, what)
	if removable {
		c.Flags().BoolVar(&remove, "remove", false, "take the "+what+" away")
	}
	return c
}

func (a userCommands) userDisable() *cobra.Command {
	var who actor
	var undo bool
	c := &cobra.Command{
		Use: "disable CODE", Short: "Keep an account from signing in and end its sessions; --undo lets it in again", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.onAccount()
			if err != nil {
				return err
			}
			return a.doorAct(c, &who, &e, func(ctx context.Context, d *identity.Door) error {
				act, words := d.Disable, "%s is disabled"
				if undo {
					act, words = d.Enable, "%s can sign in again"
				}
				r, err := act(ctx, e, args[0])
				if err != nil {
					return err
				}
				return a.told(r, args[0], "", words, args[0])
			})
		},
	}
	who.flags(c, identity.ToDisable, true)
	secondFlag(c)
	c.Flags().BoolVar(&undo, "undo", false, "let the account sign in again")
	return c
}

func (a userCommands) userReset() *cobra.Command {
	var who actor
	c := &cobra.Command{
		Use: "reset CODE", Short: "Take password and PIN from an account and print a one-time code instead", Args: cobra.ExactArgs(1),
		Long: `Take password, PIN and passkeys from an account and print a one-time code instead. Whoever
sees that code could sign in the name of the person. So from then on what the person signs
counts like a role that was given then by --by: it ends nothing that began before, and
never counts beside --by. Where --second signs it too, it counts at once beside others.
Infection prevention is reset by one who has that role, or by two.

Where the only administrator has lost the password, a lead and infection prevention reset
it together.`,
		RunE: func(c *cobra.Command, args []string) error {
			e, err := who.onAccount()
			if err != nil {
				return err
			}
			return a.doorAct(c, &who, &e, func(ctx context.Context, d *identity.Door) error {
				r, once, err := d.Reset(ctx, e, args[0])
				if err != nil {
					return err
				}
				return a.told(r, args[0], once, "%s has no password any more", args[0])
			})
		},
	}
	who.flags(c, identity.ToReset, true)
	secondFlag(c)
	return c
}

// printedSession is a session in JSON.
type printedSession struct {
	ID    string       `json:"id"`
	State access.State `json:"state"`
	// Way is how the person last showed who they are.
	Way     access.Way `json:"way"`
	Created string     `json:"created"`
	Seen    string     `json:"seen"`
	Address string     `json:"address"`
	Agent   string     `json:"agent"`
}

func (a userCommands) userSessions() *cobra.Command {
	var who actor
	var e identity.Entry
	var end string
	var all bool
	c := &cobra.Command{
		Use: "sessions CODE", Short: "List where somebody is signed in, and end sessions", Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if all && end != "" {
				return usageError{errors.New("either --end or --end-all")}
			}
			if all || end != "" {
				return a.doorAct(c, &who, &e, func(ctx context.Context, d *identity.Door) error {
					n, err := d.Revoke(ctx, e, args[0], end)
					if err != nil {
						return err
					}
					if a.json {
						return a.printJSON(struct {
							Ended int64 `json:"ended"`
						}{n})
					}
					fmt.Fprintf(a.Out, "%d ended\n", n)
					return nil
				})
			}
			return a.view(c, func(v desk.View) error {
				sessions, err := v.People().Sessions(args[0])
				if err != nil {
					return err
				}
				printed := make([]printedSession, len(sessions))
				rows := make([][]string, len(sessions))
				for i, s := range sessions {
					printed[i] = printedSession{identity.SessionID(s), s.State(v.Now()), s.Way, s.Created.String(), s.Seen.String(), s.Address, s.Agent}
					rows[i] = []string{printed[i].ID, string(printed[i].State), string(s.Way), s.Created.In(v.Zone()), s.Seen.In(v.Zone()), s.Address, s.Agent}
				}
				if a.json {
					return a.printJSON(printed)
				}
				a.printTable([]string{"session", "state", "shown by", "since", "last seen", "address", "browser"}, rows)
				return nil
			})
		},
	}
	who.named(c, identity.ToRevoke, "code of the person who ends sessions")
	c.Flags().StringVar(&end, "end", "", "end the session with this id")
	c.Flags().BoolVar(&all, "end-all", false, "end all sessions")
	return c
}
