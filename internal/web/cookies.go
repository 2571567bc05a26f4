package web

import "net/http"

// cookieName is the name of the session's cookie. The prefix makes browsers refuse a cookie of this name
// that another host of the same domain, or a page without TLS, tries to set (RFC 6265bis section 4.1.3.2).
func (s *shell) cookieName() string {
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

func (x *exchange) setToken(token string, age int) {
	http.SetCookie(x.w, &http.Cookie{
		Name: x.s.cookieName(), Value: token, Path: "/", MaxAge: age, HttpOnly: true, Secure: x.s.secure, SameSite: http.SameSiteLaxMode,
	})
}

// questionCookie is the name of the cookie that ties the answer of a device to the browser that asked it.
func (s *shell) questionCookie() string { return s.cookieName() + "-passkey" }

func (x *exchange) setQuestion(shown string, age int) {
	http.SetCookie(x.w, &http.Cookie{
		Name: x.s.questionCookie(), Value: shown, Path: "/", MaxAge: age, HttpOnly: true, Secure: x.s.secure, SameSite: http.SameSiteStrictMode,
	})
}

// question returns what the browser was asked, and empty when it was not asked anything.
func (x *exchange) question() string {
	c, err := x.r.Cookie(x.s.questionCookie())
	if err != nil {
		return ""
	}
	return c.Value
}
