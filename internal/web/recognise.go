package web

import (
	"context"
	"net"
	"net/http"
	"net/url"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// cookieName is the name of the session's cookie. The prefix makes browsers refuse a cookie of this name
// that another host of the same domain, or a page without TLS, tries to set (RFC 6265bis section 4.1.3.2).
func (s *Server) cookieName() string {
	if s.secure {
		return "__Host-rinsate"
	}
	return "rinsate"
}

// token returns what the browser shows for its session.
func (x *exchange) token() string {
	c, err := x.r.Cookie(x.s.cookieName())
	if err != nil {
		return ""
	}
	return c.Value
}

// admit lets the browser keep a new token. The cookie ends with the browser, and the session on its own.
func (x *exchange) admit(p identity.Pass) {
	x.setToken(p.Token, 0)
	x.visit, x.renewed = p.Visit, true
}

func (x *exchange) setToken(token string, age int) {
	http.SetCookie(x.w, &http.Cookie{
		Name: x.s.cookieName(), Value: token, Path: "/", MaxAge: age, HttpOnly: true, Secure: x.s.secure, SameSite: http.SameSiteLaxMode,
	})
}

// recognise finds out who asks. Only an active session of somebody who need not choose a password first
// may open pages.
func (s *Server) recognise(ctx context.Context, x *exchange) (err error) {
	token := x.token()
	if token == "" {
		x.visit.State = access.Expired
		return nil
	}
	// What a page asks by itself keeps no session awake: it locks when nobody is there.
	background := x.r.Header.Get("X-Background") != "" || strings.HasSuffix(x.r.URL.Path, "/live") || x.r.URL.RawQuery == "watching"
	if x.visit, err = s.door.Session(ctx, token, !background); err != nil {
		return err
	}
	a := x.visit.Account
	if x.visit.State == access.Active && !a.MustChange {
		x.who = &person{Code: a.Code, Name: a.Name, Roles: a.Roles}
	}
	return nil
}

// actor is who does what a request asks for.
func (x *exchange) actor() access.Actor { return x.visit.Actor() }

// acting is the desk for whoever asks.
func (x *exchange) acting() desk.Acting { return x.s.desk.As(x.actor()) }

// turnAway sends somebody who may not open a page to where they can change that.
func (x *exchange) turnAway() error {
	next := "?next=" + url.QueryEscape(strings.TrimPrefix(x.r.URL.RequestURI(), x.s.prefix))
	if x.r.Method != http.MethodGet {
		next = ""
	}
	status, to, message, hint := http.StatusUnauthorized, "/sign-in"+next, "Nobody has signed in.", "Sign in; what you did here is kept."
	switch {
	case x.who != nil:
		return forbidden()
	case x.visit.State == access.Locked:
		to, message, hint = "/unlock"+next, "The session is locked.", "Open it with your PIN or password; what you did here is kept."
	case x.visit.State == access.Active:
		to, message, hint = "/password", "The password was set by somebody else.", "Choose one of your own first."
	}
	if x.data {
		return &pageError{status: status, message: message, hint: hint}
	}
	return x.redirect(to)
}

// source is where a request comes from. Behind a proxy that is what the proxy says; it puts the address
// it sees last.
func (x *exchange) source() identity.Source {
	host, _, err := net.SplitHostPort(x.r.RemoteAddr)
	if err != nil {
		host = x.r.RemoteAddr
	}
	if x.s.proxied {
		if list := strings.Split(strings.Join(x.r.Header.Values("X-Forwarded-For"), ","), ","); strings.TrimSpace(list[len(list)-1]) != "" {
			host = strings.TrimSpace(list[len(list)-1])
		}
	}
	return identity.Source{Address: host, Agent: x.r.UserAgent()}
}

// next is where somebody wanted to go before they had to sign in: a page of this site, or the first one.
func (x *exchange) next() string {
	next := x.r.FormValue("next")
	u, err := url.Parse(next)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		return "/"
	}
	return next
}
