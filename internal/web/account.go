package web

import (
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/web/kit"
)

// showAccount is what people can change about their own account.
type accountPage struct {
	Code, Name, Problem, Said string
	Roles                     []access.Role
	MustChange                bool
	Shortest                  int
	Sessions                  []sessionLine
	Passkeys                  []passkeyLine
	// PasskeysHere says that passkeys can count at this address, Host is its name.
	PasskeysHere bool
	Host         string
}

type sessionLine struct {
	ID, Since, Seen, Address, Agent string
	This                            bool
}

func (s doorPages) account(x *kit.Exchange) error { return s.showAccount(x, http.StatusOK, "", "") }

func (s doorPages) showAccount(x *kit.Exchange, status int, problem, said string) error {
	a := x.Visit.Account
	if x.Visit.State != access.Active {
		return x.TurnAway()
	}
	page := accountPage{
		Code:         a.Code,
		Name:         a.Name,
		Roles:        a.Roles,
		MustChange:   a.MustChange,
		Shortest:     access.ShortestAlone,
		Problem:      problem,
		Said:         said,
		PasskeysHere: s.passkeys != nil,
		Host:         x.Shell.Base.Hostname(),
	}
	err := x.Shell.View(x.R.Context(), func(v desk.View) error {
		all, err := v.People().Sessions(a.Code)
		if err != nil {
			return err
		}
		page.Passkeys, err = s.passkeyLines(v, a.Code)
		for _, one := range all {
			page.Sessions = append(page.Sessions, sessionLine{
				ID: identity.SessionID(one), Since: one.Created.In(v.Zone()), Seen: one.Seen.In(v.Zone()), Address: one.Address, Agent: one.Agent,
				This: one.Token == x.Visit.Session.Token,
			})
		}
		return err
	})
	if err != nil {
		return err
	}
	return x.Show(status, "account", a.MustChange, page)
}

// passwordAct changes the password of whoever has signed in.
func (s doorPages) passwordAct(x *kit.Exchange) error {
	if x.Visit.State != access.Active {
		return x.TurnAway()
	}
	var pass identity.Pass
	err := error(&kit.PageError{Status: http.StatusBadRequest, Message: "The two passwords differ."})
	if x.R.PostFormValue("password") == x.R.PostFormValue("again") {
		pass, err = s.Door.ChangePassword(x.R.Context(), x.Token(), x.R.PostFormValue("old"), x.R.PostFormValue("password"), x.Source())
		x.Heard("password changed", x.Visit.Account.Code, err)
	}
	if err != nil {
		status, words, ok := kit.Refused(x, err)
		if !ok {
			return err
		}
		return s.showAccount(x, status, words, "")
	}
	x.Admit(pass)
	return x.Redirect("/account")
}

// ownAct changes the PIN of whoever has signed in, removes a passkey, or ends one of their sessions.
func (s doorPages) ownAct(x *kit.Exchange) error {
	var err error
	said := ""
	switch x.R.PostFormValue("change") {
	case "pin":
		// A PIN opens locked benches: whoever sets one shows the password for it.
		var pass identity.Pass
		if pass, err = s.Door.ChangePIN(x.R.Context(), x.Token(), x.R.PostFormValue("old"), x.R.PostFormValue("pin"), x.Source()); err == nil {
			x.Admit(pass)
		}
		x.Heard("PIN changed", x.Who.Code, err)
		said = "The PIN is set."
	case "remove-passkey":
		var pass identity.Pass
		if pass, err = s.Door.RemovePasskey(x.R.Context(), x.Token(), x.R.PostFormValue("old"), x.R.PostFormValue("passkey"), x.Source()); err == nil {
			x.Admit(pass)
		}
		x.Heard("passkey removed", x.Who.Code, err)
		said = "The passkey is removed. It may still be offered on its device; remove it there as well."
	case "end":
		_, err = s.Door.Revoke(x.R.Context(), identity.Entry{Actor: x.Actor()}, x.Who.Code, x.R.PostFormValue("session"))
		said = "The session has ended."
	default:
		err = &kit.PageError{Status: http.StatusBadRequest, Message: "There is nothing to change."}
	}
	if err != nil {
		status, words, ok := kit.Refused(x, err)
		if !ok {
			return err
		}
		return s.showAccount(x, status, words, "")
	}
	return s.showAccount(x, http.StatusOK, "", said)
}
