//go:build !dev

package web

import (
	"embed"
	"io/fs"
	"net/http"
)

// The released program holds its templates, styles, scripts and help. A development build (-tags dev,
// develop.go) reads them from the folder of this file instead.

//go:embed all:templates static help
var embedded embed.FS

// sources returns templates, styles, scripts and help.
func sources() fs.FS { return embedded }

// rereading is where a development build notices that a file has changed; a released one has none.
func rereading(_ *Server, pages http.Handler) http.Handler { return pages }
