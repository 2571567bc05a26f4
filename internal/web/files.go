package web

import (
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"path"
	"slices"
	"strings"
)

// file is a file of the pages with the name that its content gives it.
type file struct {
	content []byte
	// packed is the content as gzip.
	packed []byte
	kind   string
}

// files holds the files by their hashed names, and names the hashed name of each file.
type files struct {
	byHash map[string]file
	names  map[string]string
}

// kinds are the types of files that there are.
var kinds = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
	".webmanifest": "application/manifest+json",
}

// hashLength is how much of the hash is part of a name.
const hashLength = 12

// loadFiles reads the files and names them by their content, so that browsers may keep them for ever.
// appended goes behind the content of the files of these names.
func loadFiles(from fs.FS, appended map[string]string) (files, error) {
	f := files{byHash: map[string]file{}, names: map[string]string{}}
	err := fs.WalkDir(from, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		content, err := fs.ReadFile(from, name)
		if err != nil {
			return err
		}
		content = append(content, appended[name]...)
		extension := path.Ext(name)
		kind, ok := kinds[extension]
		if !ok {
			return fmt.Errorf("the type of the file %s is not known", name)
		}
		sum := sha256.Sum256(content)
		hashed := strings.TrimSuffix(name, extension) + "-" + hex.EncodeToString(sum[:])[:hashLength] + extension
		f.byHash[hashed], f.names[name] = file{content, pack(content, gzip.BestCompression), kind}, hashed
		return nil
	})
	return f, err
}

// source returns the text of a file.
func (f files) source(name string) []byte { return f.byHash[f.names[name]].content }

// edition names all files together: it changes whenever one of them does.
func (f files) edition() string {
	sum := sha256.Sum256([]byte(strings.Join(slices.Sorted(maps.Values(f.names)), "\n")))
	return hex.EncodeToString(sum[:])[:hashLength]
}

// asset returns the address of a file; a name that does not exist is a mistake in a template, found when
// the template is executed.
func (s *shell) asset(name string) (string, error) {
	hashed, ok := s.files.names[name]
	if !ok {
		return "", fmt.Errorf("there is no file %q", name)
	}
	return s.url("/static/" + hashed), nil
}

// static serves a file by its hashed name.
func (s *shell) static(x *exchange) error {
	f, ok := s.files.byHash[x.r.PathValue("name")]
	if !ok {
		return notHere("there is no such file")
	}
	x.w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	if packs(x.r) {
		x.w.Header().Set("Vary", "Accept-Encoding")
		x.w.Header().Set("Content-Encoding", "gzip")
		x.answer(http.StatusOK, f.kind, f.packed)
		return nil
	}
	x.answer(http.StatusOK, f.kind, f.content)
	return nil
}
