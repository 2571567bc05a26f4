//go:build dev

package web

import (
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"
)

// sourceFolder is where the files of the pages lie: beside this file, wherever the program is started.
var sourceFolder = func() string {
	_, file, _, ok := runtime.Caller(0)
	if !ok || !filepath.IsAbs(file) {
		panic("a development build is made without -trimpath, as by go run -tags dev ./cmd/rinsate dev")
	}
	return filepath.Dir(file)
}()

// sources returns templates, styles, scripts and help as they are now.
func sources() fs.FS { return os.DirFS(sourceFolder) }

// rereading makes the pages of s anew before a request when a file has changed since. What is wrong with a
// file is the answer, until it is right again. Sessions are in the data folder and stay.
func rereading(s *Server, pages http.Handler) http.Handler {
	var mu sync.Mutex
	var broken error
	stamp := newest()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		if now := newest(); now != stamp && s.Desk != nil {
			stamp = now
			var fresh *Server
			if fresh, broken = s.again(); broken == nil {
				fresh.EndWith(s.Shell) // what ends the program ends them too
				pages = fresh.Shell.Handler()
			}
		}
		answer, failed := pages, broken
		mu.Unlock()
		if failed != nil {
			http.Error(w, "the pages cannot be read: "+failed.Error(), http.StatusInternalServerError)
			return
		}
		answer.ServeHTTP(w, r)
	})
}

// newest tells whether a file was changed, made or deleted: by how many there are and when the last was written.
func newest() string {
	count, last := 0, time.Time{}
	for _, folder := range strings.Fields("templates static help") {
		//nolint:errcheck // a file that went away while the folder was read counts at the next request
		filepath.WalkDir(filepath.Join(sourceFolder, folder), func(_ string, entry fs.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if info, err := entry.Info(); err == nil {
				count++
				if info.ModTime().After(last) {
					last = info.ModTime()
				}
			}
			return nil
		})
	}
	return fmt.Sprint(count, " ", last.UnixNano())
}
