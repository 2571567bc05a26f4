package web

import (
	"net/http"
	"slices"
	"strconv"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// showPeople lists the accounts.
type peoplePage struct {
	Problem, Said string
	// Once is a one-time code that was just made for the account For.
	Once, For string
	Roles     []access.Role
	Accounts  []accountLine
	// Exports are where the list is had as a file.
	Exports kit.Exports
}

type accountLine struct {
	Code, Name, State string
	Roles             []roleChoice
	Badge, PIN        bool
	Passkeys          int
	Disabled          bool
	// Own says that it is the account of whoever looks.
	Own      bool
	Sessions int
	// History are the changes of the account, the latest first.
	History []grantLine
}

type roleChoice struct {
	Role access.Role
	Has  bool
}

func (s peoplePages) people(x *kit.Exchange) error {
	return s.showPeople(x, http.StatusOK, peoplePage{})
}

func (s peoplePages) showPeople(x *kit.Exchange, status int, page peoplePage) error {
	page.Roles = access.Roles
	wanted, err := x.WantsFileOf(access.ManageAccounts)
	if err != nil {
		return err
	}
	err = x.Shell.View(x.R.Context(), func(v desk.View) error {
		all, err := v.People().Accounts()
		if err != nil {
			return err
		}
		granted, err := v.People().AllGrants()
		if err != nil {
			return err
		}
		for _, a := range all {
			line := accountLine{
				Code:     a.Code,
				Name:     a.Name,
				Badge:    a.Badge != "",
				PIN:      a.PIN != "",
				Disabled: a.Disabled.Known(),
				State:    accountState(a, v.Now()),
				Own:      own(x, a.Code),
			}
			for _, r := range access.Roles {
				line.Roles = append(line.Roles, roleChoice{r, slices.Contains(a.Roles, r)})
			}
			open, err := v.People().Sessions(a.Code)
			if err != nil {
				return err
			}
			line.Sessions = len(open)
			keys, err := v.People().Passkeys(a.Code)
			if err != nil {
				return err
			}
			line.Passkeys = len(keys)
			line.History = grantLines(s.Terms, granted[access.Key(a.Code)], v.Zone())
			page.Accounts = append(page.Accounts, line)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if wanted {
		return x.File(page.listing())
	}
	page.Exports = x.ExportsOf("", access.ManageAccounts)
	return x.Show(status, "people", false, page)
}

// listing is the list of accounts for a review of who may do what. It holds no record and no secret, and
// whoever manages accounts sees all of it anyway: it needs no permission to export records.
func (p peoplePage) listing() kit.Listing {
	l := kit.Listing{Name: "people", Columns: kit.Columns("code", "name", "state", "roles", "badge", "PIN", "passkeys", "open sessions")}
	yes := map[bool]string{true: "yes", false: "no"}
	for _, a := range p.Accounts {
		var roles []string
		for _, r := range a.Roles {
			if r.Has {
				roles = append(roles, string(r.Role))
			}
		}
		l.Rows = append(
			l.Rows,
			[]string{a.Code, a.Name, a.State, strings.Join(roles, ", "), yes[a.Badge], yes[a.PIN], strconv.Itoa(a.Passkeys), strconv.Itoa(a.Sessions)},
		)
	}
	return l
}

// peopleAct changes an account.
func (s peoplePages) peopleAct(x *kit.Exchange) error {
	ctx, form := x.R.Context(), x.R.PostFormValue
	e, code := identity.Entry{Actor: x.Actor()}, strings.TrimSpace(form("code"))
	var page peoplePage
	second := desk.Entry{}
	err := vouched(x, form("second"), &second)
	if err != nil {
		status, words, ok := kit.Refused(x, err)
		if !ok {
			return err
		}
		return s.showPeople(x, status, peoplePage{Problem: words})
	}
	e.Second = second.Second
	switch form("change") {
	case "add":
		page.For, page.Said = code, "The account "+code+" is made."
		_, page.Once, err = s.Door.AddAccount(ctx, e, identity.NewAccount{Code: code, Name: strings.TrimSpace(form("name")), Roles: rolesOf(x)})
	case "roles":
		page.Said = "The roles of " + code + " are changed."
		_, err = s.Door.ChangeRoles(ctx, e, code, rolesOf(x))
	case "reset":
		page.For, page.Said = code, "The account "+code+" is reset; its sessions have ended."
		_, page.Once, err = s.Door.Reset(ctx, e, code)
	case "badge":
		page.Said = "The badge of " + code + " is changed."
		_, err = s.Door.SetBadge(ctx, e, code, strings.TrimSpace(form("badge")))
	case "disable":
		page.Said = "The account " + code + " is disabled; its sessions have ended."
		_, err = s.Door.Disable(ctx, e, code)
	case "enable":
		page.Said = "The account " + code + " may sign in again."
		_, err = s.Door.Enable(ctx, e, code)
	case "end":
		page.Said = "The sessions of " + code + " have ended."
		_, err = s.Door.Revoke(ctx, e, code, "")
	default:
		err = &kit.PageError{Status: http.StatusBadRequest, Message: "There is nothing to change."}
	}
	if err != nil {
		status, words, ok := kit.Refused(x, err)
		if !ok {
			return err
		}
		return s.showPeople(x, status, peoplePage{Problem: words})
	}
	return s.showPeople(x, http.StatusOK, page)
}

// own says whether a code is that of whoever has signed in.
func own(x *kit.Exchange, code string) bool { return access.Key(code) == access.Key(x.Who.Code) }

func rolesOf(x *kit.Exchange) []access.Role {
	var roles []access.Role
	for _, r := range x.R.PostForm["role"] {
		roles = append(roles, access.Role(r))
	}
	return roles
}

// accountState says in words whether somebody can sign in.
func accountState(a store.Account, now unit.Instant) string {
	switch {
	case a.Disabled.Known():
		return "disabled"
	case a.Failures.Spent():
		return "closed after too many failed attempts"
	case a.Password == "" && a.OnceUntil > now:
		return "waits for the first sign-in"
	case a.Password == "":
		return "the one-time code has expired"
	case a.MustChange:
		return "has to choose a password"
	}
	return "may sign in"
}
