package web

import (
	"net/http"
	"strings"

	"rinsate/internal/domain/access"
)

// public is the permission of pages that anybody may open.
const public access.Permission = ""

// signedIn is the permission of pages that everybody may open who has signed in.
const signedIn access.Permission = "signed-in"

// route is one page or act.
type route struct {
	method, path string
	need         access.Permission
	handle       func(*exchange) error
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

// style is the style sheet of a section's own.
func (s section) style() string { return strings.ToLower(string(s)) + ".css" }

// formLimit bounds the body of an ordinary form.
const formLimit = 64 << 10

// get is a page of the day's work.
func get(path string, need access.Permission, page, nav string, handle func(*exchange) error) route {
	return route{method: http.MethodGet, path: path, need: need, handle: handle, page: page, nav: nav}
}

// page is a page of the section.
func (s section) page(path string, need access.Permission, page, nav string, handle func(*exchange) error) route {
	r := get(path, need, page, nav, handle)
	r.section = s
	return r
}

// data is a route whose answer is for a script.
func data(method, path string, need access.Permission, handle func(*exchange) error) route {
	return route{method: method, path: path, need: need, handle: handle, data: true}
}

// post is an act that a form asks for.
func post(path string, need access.Permission, handle func(*exchange) error) route {
	return route{method: http.MethodPost, path: path, need: need, handle: handle}
}
