package sqlite

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// ours are the names in a data folder that nobody but its owner may read: they hold patients' numbers, what people
// typed, and the key that signs.
var ours = []string{
	databaseFile, databaseFile + "-wal", databaseFile + "-shm", databaseFile + "-journal", databaseFile + ".new",
	lockFile, keyFile, checkpointFile, examinedFile, headFile,
}

// uploadsFolder is where the pages keep files that are being read in, for their owner alone.
const uploadsFolder = "uploads"

// keepPrivate lets nobody but the owner read the files of the folder, also those that are there already, and the
// folder itself when nothing else lies in it: one that somebody shares with other files stays as it is. What cannot
// be changed, as on a file system without permissions, is left for the doctor to tell of.
func (f Folder) keepPrivate() {
	for _, path := range f.private() {
		_ = onlyOwner(path) // the doctor tells of it
	}
}

// private are the paths that there are and that nobody else may read.
func (f Folder) private() (paths []string) {
	entries, err := os.ReadDir(f.Dir())
	if err != nil {
		return nil
	}
	alone := true
	for _, e := range entries {
		switch {
		case e.Type().IsRegular() && (slices.Contains(ours, e.Name()) || slices.Contains(ours, strings.TrimSuffix(e.Name(), ".new"))):
			paths = append(paths, f.path(e.Name()))
		case e.IsDir() && slices.Contains([]string{beginningFolder, uploadsFolder}, e.Name()):
		default:
			alone = false
		}
	}
	if alone {
		paths = append(paths, f.Dir())
	}
	return paths
}

// ReadByOthers returns the names in a data folder, and that of the folder, that others than the owner may read.
func ReadByOthers(dir string) (names []string, err error) {
	for _, path := range Folder(dir).private() {
		others, err := forOthers(path)
		if errors.Is(err, fs.ErrNotExist) {
			continue // it went away meanwhile
		}
		if err != nil {
			return nil, err
		}
		if others {
			names = append(names, filepath.Base(path))
		}
	}
	return names, nil
}

// makePrivate makes an empty file that only its owner may read, before anything is written to it.
func makePrivate(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), onlyOwner(path))
}
