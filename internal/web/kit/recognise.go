package kit

import (
	"context"
	"net"
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// recognise finds out who asks. Only an active session of somebody who need not choose a password first
// may open pages.
func (s *Shell) recognise(ctx context.Context, x *Exchange) (err error) {
	token := x.Token()
	if token == "" {
		x.Visit.State = access.Expired
		return nil
	}
	// What a page asks by itself keeps no session awake: it locks when nobody is there.
	background := x.R.Header.Get("X-Background") != "" || strings.HasSuffix(x.R.URL.Path, "/live") || x.R.URL.RawQuery == "watching"
	if x.Visit, err = s.Door.Session(ctx, token, !background); err != nil {
		return err
	}
	a := x.Visit.Account
	if x.Visit.State == access.Active && !a.MustChange {
		x.Who = &Person{Code: a.Code, Name: a.Name, Roles: a.Roles}
	}
	return nil
}

// TurnAway sends somebody who may not open a page to where they can change that.
func (x *Exchange) TurnAway() error {
	next := "?next=" + url.QueryEscape(strings.TrimPrefix(x.R.URL.RequestURI(), x.Shell.Prefix))
	if x.R.Method != http.MethodGet {
		next = ""
	}
	status, to, message, hint := http.StatusUnauthorized, "/sign-in"+next, "Nobody has signed in.", "Sign in; what you did here is kept."
	switch {
	case x.Who != nil:
		return Forbidden()
	case x.Visit.State == access.Locked:
		to, message, hint = "/unlock"+next, "The session is locked.", "Open it with your PIN or password; what you did here is kept."
	case x.Visit.State == access.Active:
		to, message, hint = "/password", "The password was set by somebody else.", "Choose one of your own first."
	}
	if x.Data {
		return &PageError{Status: status, Message: message, Hint: hint}
	}
	return x.Redirect(to)
}

// Source is where a request comes from. Behind a proxy that is what the proxy says; it puts the address
// it sees last.
func (x *Exchange) Source() identity.Source {
	host, _, err := net.SplitHostPort(x.R.RemoteAddr)
	if err != nil {
		host = x.R.RemoteAddr
	}
	if x.Shell.proxied {
		if list := strings.Split(strings.Join(x.R.Header.Values("X-Forwarded-For"), ","), ","); strings.TrimSpace(list[len(list)-1]) != "" {
			host = strings.TrimSpace(list[len(list)-1])
		}
	}
	return identity.Source{Address: host, Agent: x.R.UserAgent()}
}

// Next is where somebody wanted to go before they had to sign in: a page of this site, or the first one.
func (x *Exchange) Next() string {
	next := x.R.FormValue("next")
	u, err := url.Parse(next)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		return "/"
	}
	return next
}
