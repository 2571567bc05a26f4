package kit

import (
	"net/http"
	"strings"

	"rinsate/internal/domain/access"
)

// Route is one page or act.
type Route struct {
	Method, Path string
	Need         access.Permission
	Handle       func(*Exchange) error
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

// Data is a route whose answer is for a script.
func Data(method, path string, need access.Permission, handle func(*Exchange) error) Route {
	return Route{Method: method, Path: path, Need: need, Handle: handle, Data: true}
}

// Post is an act that a form asks for.
func Post(path string, need access.Permission, handle func(*Exchange) error) Route {
	return Route{Method: http.MethodPost, Path: path, Need: need, Handle: handle}
}
