package web

import (
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// accountPage is what people can change about their own account.
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

func (s *Server) account(x *exchange) error { return x.accountPage(http.StatusOK, "", "") }

func (x *exchange) accountPage(status int, problem, said string) error {
	a := x.visit.Account
	if x.visit.State != access.Active {
		return x.turnAway()
	}
	page := accountPage{Code: a.Code, Name: a.Name, Roles: a.Roles, MustChange: a.MustChange, Shortest: access.ShortestAlone, Problem: problem, Said: said, PasskeysHere: x.s.passkeys != nil, Host: x.s.base.Hostname()}
	err := x.s.view(x.r.Context(), func(v desk.View) error {
		all, err := v.People().Sessions(a.Code)
		if err != nil {
			return err
		}
		page.Passkeys, err = x.passkeyLines(v, a.Code)
		for _, one := range all {
			page.Sessions = append(page.Sessions, sessionLine{
				ID: identity.SessionID(one), Since: one.Created.In(v.Zone()), Seen: one.Seen.In(v.Zone()), Address: one.Address, Agent: one.Agent,
				This: one.Token == x.visit.Session.Token,
			})
		}
		return err
	})
	if err != nil {
		return err
	}
	return x.show(status, "account", a.MustChange, page)
}

// passwordAct changes the password of whoever has signed in.
func (s *Server) passwordAct(x *exchange) error {
	if x.visit.State != access.Active {
		return x.turnAway()
	}
	var pass identity.Pass
	err := error(&pageError{status: http.StatusBadRequest, message: "The two passwords differ."})
	if x.r.PostFormValue("password") == x.r.PostFormValue("again") {
		pass, err = s.door.ChangePassword(x.r.Context(), x.token(), x.r.PostFormValue("old"), x.r.PostFormValue("password"), x.source())
		x.heard("password changed", x.visit.Account.Code, err)
	}
	if err != nil {
		status, words, ok := refused(x, err)
		if !ok {
			return err
		}
		return x.accountPage(status, words, "")
	}
	x.admit(pass)
	return x.redirect("/account")
}

// ownAct changes the PIN of whoever has signed in, removes a passkey, or ends one of their sessions.
func (s *Server) ownAct(x *exchange) error {
	var err error
	said := ""
	switch x.r.PostFormValue("change") {
	case "pin":
		// A PIN opens locked benches: whoever sets one shows the password for it.
		var pass identity.Pass
		if pass, err = s.door.ChangePIN(x.r.Context(), x.token(), x.r.PostFormValue("old"), x.r.PostFormValue("pin"), x.source()); err == nil {
			x.admit(pass)
		}
		x.heard("PIN changed", x.who.Code, err)
		said = "The PIN is set."
	case "remove-passkey":
		var pass identity.Pass
		if pass, err = s.door.RemovePasskey(x.r.Context(), x.token(), x.r.PostFormValue("old"), x.r.PostFormValue("passkey"), x.source()); err == nil {
			x.admit(pass)
		}
		x.heard("passkey removed", x.who.Code, err)
		said = "The passkey is removed. It may still be offered on its device; remove it there as well."
	case "end":
		_, err = s.door.Revoke(x.r.Context(), identity.Entry{Actor: x.actor()}, x.who.Code, x.r.PostFormValue("session"))
		said = "The session has ended."
	default:
		err = &pageError{status: http.StatusBadRequest, message: "There is nothing to change."}
	}
	if err != nil {
		status, words, ok := refused(x, err)
		if !ok {
			return err
		}
		return x.accountPage(status, words, "")
	}
	return x.accountPage(http.StatusOK, "", said)
}
