package web

import (
	"cmp"
	"compress/gzip"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strconv"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// person is who has signed in.
type person struct {
	Code  string
	Name  string
	Roles []access.Role
}

// exchange is one request and its answer.
type exchange struct {
	s   *Server
	w   http.ResponseWriter
	r   *http.Request
	who *person
	// visit is the session of the browser, also one that is locked.
	visit identity.Visit
	// data says that the answer is JSON.
	data bool
	// renewed says that the answer gives the browser a new token.
	renewed bool
}

// may says whether whoever asks has a permission; public pages need none.
func (x *exchange) may(need access.Permission) bool {
	return need == public || x.who != nil && (need == signedIn || x.actor().Has(need))
}

// can says whether whoever asks may do something, signed or not.
func (x *exchange) can(act access.Act) bool { return x.actor().May(act) }

// unsigned says whether whoever asks would have to sign now.
func (x *exchange) unsigned() bool { return !x.actor().Signs(x.s.now()) }

// opens says whether whoever asks may ask for a route. What is sent and names no act is nobody's.
func (x *exchange) opens(r route) bool {
	if r.act.What != "" {
		return x.can(r.act)
	}
	return r.method != http.MethodPost && x.may(r.need)
}

// public is the permission of pages that anybody may open.
const public access.Permission = ""

// signedIn is the permission of pages that everybody may open who has signed in.
const signedIn access.Permission = "signed-in"

// route is one page or act.
type route struct {
	method, path string
	// act is what it does, which says who may; need is the permission of a page on which nothing is done.
	act    access.Act
	need   access.Permission
	handle func(*exchange) error
	// nav is its name in the navigation, page the template that it shows; both empty for acts. Pages of a
	// section share one entry in the navigation and have a navigation of their own.
	nav, page string
	section   section
	// data says that the answer is JSON for a script, so that errors are as well.
	data bool
	// limit bounds the body of a form with files, which its handler reads by itself; zero stands for
	// formLimit and a form that is read before.
	limit int64
}

// section is a part of the pages, by the name that the navigation has for it.
type section string

// The sections. Pages of the day's work are in none: each is one step away.
const (
	numbersSection section = "Numbers"
	recordsSection section = "Records"
	setUpSection   section = "Set-up"
	helpSection    section = "Help"
)

// style is the style sheet of a section's own.
func (s section) style() string { return strings.ToLower(string(s)) + ".css" }

// formLimit bounds the body of an ordinary form.
const formLimit = 64 << 10

// serve answers a route: who asks, whether they may, the handler, and what went wrong.
func (s *Server) serve(route route) http.Handler {
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
			if !x.opens(route) {
				handle = (*exchange).turnAway
			} else if err := s.waitsForYear(route); err != nil {
				x.fail(err)
				return
			}
			if err := handle(x); err != nil {
				x.fail(err)
			}
		})
	})
}

// parse reads the form of a request.
func (x *exchange) parse() error {
	err := x.r.ParseForm()
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return tooLarge()
	}
	if err != nil {
		return &pageError{status: http.StatusBadRequest, message: "The form cannot be read.", hint: "Open the page anew and send it again."}
	}
	return nil
}

func tooLarge() error {
	return &pageError{status: http.StatusRequestEntityTooLarge, message: fmt.Sprintf("This is longer than %d kB.", formLimit>>10), hint: "Nothing was stored."}
}

// pageError is an error with a status and words for a person.
type pageError struct {
	status        int
	message, hint string
}

func (e *pageError) Error() string { return e.message }

func forbidden() error {
	return &pageError{status: http.StatusForbidden, message: "This is not for your roles.", hint: "Ask an administrator if you need it."}
}

func notHere(format string, args ...any) error {
	return &pageError{status: http.StatusNotFound, message: fmt.Sprintf(format, args...)}
}

// statuses maps the codes of the store to what a browser understands.
var statuses = map[fault.Code]int{
	fault.Invalid: http.StatusBadRequest, fault.NotFound: http.StatusNotFound, fault.Conflict: http.StatusConflict,
	fault.Forbidden: http.StatusForbidden, fault.Unsigned: http.StatusForbidden,
	fault.Busy: http.StatusServiceUnavailable, fault.Full: http.StatusInsufficientStorage, fault.Broken: http.StatusInternalServerError,
}

// shown returns an error as a person sees it. What is not meant for people becomes a number that is in
// the log as well.
func (x *exchange) shown(err error) *pageError {
	var own *pageError
	var stored *fault.Error
	var refused *identity.DeniedError
	switch {
	case errors.As(err, &own):
		return own
	case errors.As(err, &refused):
		return denied(refused)
	case errors.As(err, &stored) && statuses[stored.Code] != 0:
		return &pageError{status: statuses[stored.Code], message: sentence(stored.Message), hint: sentence(stored.Hint)}
	}
	var number [4]byte
	rand.Read(number[:]) // never fails
	reference := hex.EncodeToString(number[:])
	if x.r.Context().Err() != nil {
		return &pageError{status: http.StatusServiceUnavailable, message: "Nobody waits for the answer any more."}
	}
	x.s.log.Error("page failed", slog.String("reference", reference), slog.String("method", x.r.Method), slog.String("path", x.r.URL.Path), slog.Any("error", err))
	return &pageError{
		status: http.StatusInternalServerError, message: "Something went wrong.",
		hint: "Nothing was stored. Tell whoever cares for the program the reference " + reference + ".",
	}
}

// fail shows an error.
func (x *exchange) fail(err error) {
	shown := x.shown(err)
	problem := problem{shown.status, shown.message, shown.hint}
	var failed error
	if x.data {
		failed = x.json(shown.status, problem)
	} else {
		failed = x.show(shown.status, "problem", x.s.desk == nil, problem) // before the first run there is no navigation
	}
	if failed != nil {
		x.s.log.Error("the page of the problem failed", slog.Any("error", failed))
		http.Error(x.w, shown.message, shown.status)
	}
}

// problem is what went wrong, for a person.
type problem struct {
	Status  int    `json:"status"`
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`
}

// json answers a script.
func (x *exchange) json(status int, body any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	x.answer(status, "application/json", text)
	return nil
}

// answer writes a whole answer. A browser that has gone is no fault of ours: it asks again, or nobody
// waits any more.
func (x *exchange) answer(status int, kind string, content []byte) {
	h := x.w.Header()
	h.Set("Content-Type", kind)
	if len(content) >= worthPacking {
		h.Add("Vary", "Accept-Encoding")
		if packs(x.r) && h.Get("Content-Encoding") == "" {
			h.Set("Content-Encoding", "gzip")
			content = pack(content, gzip.DefaultCompression)
		}
	}
	h.Set("Content-Length", strconv.Itoa(len(content)))
	x.w.WriteHeader(status)
	x.w.Write(content) //nolint:errcheck // see above
}

// denied maps an attempt to sign in that failed to an answer.
func denied(e *identity.DeniedError) *pageError {
	status := http.StatusForbidden
	if e.Wait > 0 {
		status = http.StatusTooManyRequests
	}
	message, hint, _ := strings.Cut(e.Error(), "\nhint: ")
	return &pageError{status: status, message: sentence(message), hint: sentence(hint)}
}

// sentence makes a sentence of an error.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return text
}
