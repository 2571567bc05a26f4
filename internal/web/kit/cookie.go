package kit

import "net/http"

// CookieName is the name of the session's cookie. The prefix makes browsers refuse a cookie of this name
// that another host of the same domain, or a page without TLS, tries to set (RFC 6265bis section 4.1.3.2).
func (s *Shell) CookieName() string {
	if s.secure {
		return "__Host-rinsate"
	}
	return "rinsate"
}

// Token returns what the browser shows for its session.
func (x *Exchange) Token() string {
	c, err := x.R.Cookie(x.Shell.CookieName())
	if err != nil {
		return ""
	}
	return c.Value
}

// SetToken gives the browser a token, for so many seconds or, for 0, as long as it is open; below 0 takes it
// away.
func (x *Exchange) SetToken(token string, age int) {
	http.SetCookie(x.W, &http.Cookie{
		Name: x.Shell.CookieName(), Value: token, Path: "/", MaxAge: age, HttpOnly: true, Secure: x.Shell.secure, SameSite: http.SameSiteLaxMode,
	})
}

// questionCookie is the name of the cookie that ties the answer of a device to the browser that asked it.
func (s *Shell) questionCookie() string { return s.CookieName() + "-passkey" }

// SetQuestion ties what a device is asked to the browser, as SetToken does.
func (x *Exchange) SetQuestion(shown string, age int) {
	http.SetCookie(x.W, &http.Cookie{
		Name: x.Shell.questionCookie(), Value: shown, Path: "/", MaxAge: age, HttpOnly: true, Secure: x.Shell.secure, SameSite: http.SameSiteStrictMode,
	})
}

// Question returns what the browser was asked, and empty when it was not asked anything.
func (x *Exchange) Question() string {
	c, err := x.R.Cookie(x.Shell.questionCookie())
	if err != nil {
		return ""
	}
	return c.Value
}
