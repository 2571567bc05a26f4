package kit

import (
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"strings"
)

// asset is a file of the pages with the name that its content gives it.
type asset struct {
	content []byte
	// Packed is the content as gzip.
	Packed []byte
	kind   string
}

// Assets holds the files by their hashed names, and names the hashed name of each file.
type Assets struct {
	ByHash map[string]asset
	Names  map[string]string
}

// MediaTypes are the types of files that there are.
var MediaTypes = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
	".webmanifest": "application/manifest+json",
}

// HashLength is how much of the hash is part of a name.
const HashLength = 12

// loadFiles reads the files and names them by their content, so that browsers may keep them for ever.
// appended goes behind the content of the files of these names.
func loadFiles(from fs.FS, appended map[string]string) (Assets, error) {
	f := Assets{ByHash: map[string]asset{}, Names: map[string]string{}}
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
		kind, ok := MediaTypes[extension]
		if !ok {
			return fmt.Errorf("the type of the file %s is not known", name)
		}
		sum := sha256.Sum256(content)
		hashed := strings.TrimSuffix(name, extension) + "-" + hex.EncodeToString(sum[:])[:HashLength] + extension
		f.ByHash[hashed], f.Names[name] = asset{content, pack(content, gzip.BestCompression), kind}, hashed
		return nil
	})
	return f, err
}

// Source returns the text of a file.
func (f Assets) Source(name string) []byte { return f.ByHash[f.Names[name]].content }

// Edition names all files together: it changes whenever one of them does.
func (f Assets) Edition() string {
	sum := sha256.Sum256([]byte(strings.Join(slices.Sorted(maps.Values(f.Names)), "\n")))
	return hex.EncodeToString(sum[:])[:HashLength]
}
