package web

import (
	"cmp"
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
)

// person is who has signed in.
type person struct {
	Code  string
	Name  string
	Roles []access.Role
}

// exchange is one request and its answer.
type exchange struct {
	s   *shell
	w   http.ResponseWriter
	r   *http.Request
	who *person
	// visit is the session of the browser, also one that is locked.
	visit desk.Visit
	// data says that the answer is JSON.
	data bool
	// renewed says that the answer gives the browser a new token.
	renewed bool
}

// may says whether whoever asks has a permission; public pages need none.
func (x *exchange) may(need access.Permission) bool {
	return need == public || x.who != nil && (need == signedIn || access.Allows(x.who.Roles, need))
}

// serve answers a route: who asks, whether they may, the handler, and what went wrong.
func (s *shell) serve(route route) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		x := &exchange{s: s, w: w, r: r, data: route.data || r.Header.Get("Accept") == "application/json"}
		if route.method == http.MethodPost {
			r.Body = http.MaxBytesReader(w, r.Body, cmp.Or(route.limit, formLimit))
		}
		err := s.recognise(r.Context(), x)
		if err == nil && route.method == http.MethodPost && !route.data && route.limit == 0 {
			err = x.parse()
		}
		if err != nil {
			x.fail(err)
			return
		}
		x.once(r.Context(), func() {
			handle := route.handle
			if !x.may(route.need) {
				handle = (*exchange).turnAway
			}
			if err := handle(x); err != nil {
				x.fail(err)
			}
		})
	})
}
