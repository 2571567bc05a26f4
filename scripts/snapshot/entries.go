package main

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
)

// folder is where a record is written, an entry a file. Its first line is the key of the entry, such as
// "page L-01 /ready/D-01": names of files are only for whoever looks for one.
type folder struct {
	dir   string
	mu    sync.Mutex
	keys  map[string]bool
	bytes int
}

// newFolder makes a folder for a record.
func newFolder(dir string) (*folder, error) {
	list, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	if len(list) > 0 {
		return nil, fmt.Errorf("%s is not empty\nhint: remove it, or name another folder", dir)
	}
	return &folder{dir: dir, keys: map[string]bool{}}, os.MkdirAll(dir, 0o755) //nolint:gosec // a record of an invented hospital is no secret
}

// other is what a name of a file does not show of a key.
var other = regexp.MustCompile(`[^A-Za-z0-9.=-]+`)

// longestName is how much of a key a file is named by.
const longestName = 80

// write keeps an entry.
func (f *folder) write(key, body string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.keys[key] {
		return fmt.Errorf("two entries are called %q", key)
	}
	f.keys[key] = true
	f.bytes += len(body)
	area, rest, _ := strings.Cut(key, " ")
	sum := sha256.Sum256([]byte(key))
	name := strings.Trim(other.ReplaceAllString(rest, "_"), "_.")
	name = name[:min(len(name), longestName)] + "-" + hex.EncodeToString(sum[:4]) + ".txt.gz"
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	_, err := io.WriteString(w, key+"\n"+strings.TrimRight(body, "\n")+"\n")
	if err := errors.Join(err, w.Close()); err != nil {
		return err
	}
	dir := filepath.Join(f.dir, area)
	if err := os.MkdirAll(dir, 0o755); err != nil { //nolint:gosec // as above
		return err
	}
	return os.WriteFile(filepath.Join(dir, name), packed.Bytes(), 0o644) //nolint:gosec // as above
}

// readEntries reads a record: the body of each entry by its key.
func readEntries(dir string) (map[string]string, error) {
	all := map[string]string{}
	err := filepath.WalkDir(dir, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !strings.HasSuffix(name, ".txt.gz") {
			return err
		}
		packed, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		r, err := gzip.NewReader(bytes.NewReader(packed))
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		key, body, _ := strings.Cut(string(text), "\n")
		all[key] = body
		return nil
	})
	if err == nil && len(all) == 0 {
		err = fmt.Errorf("%s holds no record\nhint: make one with: go run ./scripts/snapshot record %s", dir, dir)
	}
	return all, err
}
