package sqlite

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"rinsate/internal/store"
)

// headSize is the size of the file of the head: one line, filled up with spaces, that lies within one sector of any
// disk and is so written whole or not at all.
const headSize = 256

// headBeside is added to the path of a data folder: the head lies beside the folder, so that a copy of the folder that
// is put back does not bring an old head along. Where nothing can be written beside it, it lies in the folder.
const headBeside = ".head"

// head is the file that holds the end of the ledger outside of the database. It stays open, so that keeping it with
// each commit costs no more than the bytes.
type head struct {
	folder Folder
	// unplaced says that the folder is moved into its place later, so that nothing is kept for it yet.
	unplaced bool
	mu       sync.Mutex
	file     *os.File
}

// headPaths are where the head of a folder may lie, the better place first.
func (f Folder) headPaths() []string {
	beside, err := filepath.Abs(f.Dir())
	if err != nil {
		return []string{f.path(headFile)}
	}
	return []string{beside + headBeside, f.path(headFile)}
}

// Heads reads what was kept of the end of the ledger beside the folder and in it.
func (e *engine) Heads() (lines []string, err error) {
	for _, path := range e.head.folder.headPaths() {
		text, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("read how far the records went: %w", err)
		}
		lines = append(lines, string(text))
	}
	return lines, nil
}

// PutHead keeps the end of the ledger.
func (e *engine) PutHead(line string) error {
	h := &e.head
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.unplaced {
		return nil
	}
	if len(line) >= headSize {
		return fmt.Errorf("a head of %d bytes does not fit", len(line))
	}
	if h.file == nil {
		var errs []error
		for _, path := range h.folder.headPaths() {
			file, err := openHead(path)
			if err == nil {
				h.file = file
				break
			}
			errs = append(errs, err)
		}
		if h.file == nil {
			return errors.Join(errs...)
		}
	}
	_, err := h.file.WriteAt([]byte(line+strings.Repeat(" ", headSize-1-len(line))+"\n"), 0)
	return err
}

// openHead opens a file for the head, and refuses one that is somebody else's.
func openHead(path string) (*os.File, error) {
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	text := make([]byte, headSize+1)
	n, err := file.ReadAt(text, 0)
	switch {
	case n == 0 && errors.Is(err, io.EOF):
		err = onlyOwner(path)
	case n == headSize && strings.HasPrefix(string(text), store.HeadFormat+".") && text[headSize-1] == '\n':
		err = nil
	default:
		err = fmt.Errorf("%s is no file of this program", path)
	}
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	return file, nil
}

func (h *head) close() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.file == nil {
		return nil
	}
	err := h.file.Close()
	h.file = nil
	return err
}
