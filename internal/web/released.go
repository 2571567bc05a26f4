//go:build !dev

package web

import "net/http"

// rereading is where a development build notices that a file has changed; a released one has none.
func rereading(_ *Server, pages http.Handler) http.Handler { return pages }
