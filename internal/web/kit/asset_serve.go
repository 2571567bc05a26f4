package kit

import (
	"fmt"
	"net/http"
)

// Asset returns the address of a file; a name that does not exist is a mistake in a template, found when
// the template is executed.
func (s *Shell) Asset(name string) (string, error) {
	hashed, ok := s.Assets.Names[name]
	if !ok {
		return "", fmt.Errorf("there is no file %q", name)
	}
	return s.URL("/static/" + hashed), nil
}

// Static serves a file by its hashed name.
func (s *Shell) Static(x *Exchange) error {
	f, ok := s.Assets.ByHash[x.R.PathValue("name")]
	if !ok {
		return NotHere("there is no such file")
	}
	x.W.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	if packs(x.R) {
		x.W.Header().Set("Vary", "Accept-Encoding")
		x.W.Header().Set("Content-Encoding", "gzip")
		x.Answer(http.StatusOK, f.kind, f.Packed)
		return nil
	}
	x.Answer(http.StatusOK, f.kind, f.content)
	return nil
}
