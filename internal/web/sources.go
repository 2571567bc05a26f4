//go:build !dev

package web

import (
	"embed"
	"io/fs"
)

// The released program holds its templates, styles, scripts and help. A development build (-tags dev,
// develop.go) reads them from the folder of this file instead.

//go:embed all:templates static help
var embedded embed.FS

// sources returns templates, styles, scripts and help.
func sources() fs.FS { return embedded }
