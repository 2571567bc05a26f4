package kit

import (
	"net/http"
	"strings"

	"rinsate/internal/domain/access"
)

// Route is one page or act.
type Route struct {
	Method, Path string
	// Act is what it does, which says who may; Need is the permission of a page on which nothing is done.
	Act    access.Act
	Need   access.Permission
	Handle func(*Exchange) error
	// Nav is its name in the navigation, Page the template that it shows; both empty for acts. Pages of a
	// section share one entry in the navigation and have a navigation of their own.
	Nav, Page string
	Section   Section
	// Data says that the answer is JSON for a script, so that errors are as well.
	Data bool
	// Limit bounds the body of a form with files, which its handler reads by itself; zero stands for
	// FormLimit and a form that is read before.
	Limit int64
}

// Section is a part of the pages, by the name that the navigation has for it.
type Section string

// style is the style sheet of a section's own.
func (s Section) style() string { return strings.ToLower(string(s)) + ".css" }

// FormLimit bounds the body of an ordinary form.
const FormLimit = 64 << 10

// Get is a page of no section: page is its template, nav its name in the navigation.
func Get(path string, need access.Permission, page, nav string, handle func(*Exchange) error) Route {
	return Route{Method: http.MethodGet, Path: path, Need: need, Handle: handle, Page: page, Nav: nav}
}

// Page is a page of the section.
func (s Section) Page(path string, need access.Permission, page, nav string, handle func(*Exchange) error) Route {
	r := Get(path, need, page, nav, handle)
	r.Section = s
	return r
}

// Form is a page of the section for whoever may do what its form asks for.
func (s Section) Form(path string, act access.Act, page string, handle func(*Exchange) error) Route {
	r := s.Page(path, "", page, "", handle)
	r.Act = act
	return r
}

// At is a page at which an act is done.
func At(path string, act access.Act, page, nav string, handle func(*Exchange) error) Route {
	r := Get(path, "", page, nav, handle)
	r.Act = act
	return r
}

// Data is a page whose answer is for a script.
func Data(path string, need access.Permission, handle func(*Exchange) error) Route {
	return Route{Method: http.MethodGet, Path: path, Need: need, Handle: handle, Data: true}
}

// Call is an act that a script asks for.
func Call(method, path string, act access.Act, handle func(*Exchange) error) Route {
	return Route{Method: method, Path: path, Act: act, Handle: handle, Data: true}
}

// Post is an act that a form asks for.
func Post(path string, act access.Act, handle func(*Exchange) error) Route {
	return Route{Method: http.MethodPost, Path: path, Act: act, Handle: handle}
}

// Send is Post with a form that is longer than usual.
func Send(path string, act access.Act, limit int64, handle func(*Exchange) error) Route {
	r := Post(path, act, handle)
	r.Limit = limit
	return r
}

// Answers makes the act show a page of the section.
func (r Route) Answers(s Section, page string) Route {
	r.Section, r.Page = s, page
	return r
}
