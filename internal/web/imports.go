package web

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

const (
	// uploadsFolder is where uploaded files lie in the data folder until they are stored.
	uploadsFolder = "uploads"
	// uploadKept is how long a file waits to be confirmed.
	uploadKept = time.Hour
	// uploadsAtOnce is how many files of one person wait.
	uploadsAtOnce = 6
	// peekedRows is how many rows are looked at to see how a file is written.
	peekedRows = 500
)

// imports are the files that people have uploaded to be read in. They are kept in memory and in a folder
// of their own, both of which end with the server.
type imports struct {
	folder string
	clock  func() time.Time
	// background ends with the server.
	background context.Context //nolint:containedctx // it bounds what outlives a request
	stop       context.CancelFunc
	beside     sync.WaitGroup

	mu    sync.Mutex
	files map[string]*upload
}

// stage is how far a file is.
type stage int

// The stages of a file.
const (
	stageWaiting stage = iota // waits for somebody to say how it is read
	stageTrying               // is being tried
	stageTried                // was tried
	stageStoring              // is being stored
	stageStored               // is stored
)

// upload is one uploaded file.
type upload struct {
	id, by, name string
	kind         desk.Kind
	size         int64
	at           unit.Instant
	// path is where it lies.
	path string
	// read is how many bytes of it have been read, while it is tried or stored.
	read atomic.Int64
	// forget ends its time.
	forget *time.Timer

	mu sync.Mutex
	state
}

// state is what changes about an upload.
type state struct {
	stage   stage
	peeked  table.Peeked
	profile table.Profile
	// notes say what was guessed.
	notes []string
	// problem is why the file cannot even be looked at.
	problem string
	// trial and result are what came of trying and of storing; nil before.
	trial, result *outcome
	// ended is when it was stored.
	ended unit.Instant
}

// newImports begins without files: what an earlier server left is deleted.
func newImports(dir string, clock func() time.Time) (*imports, error) {
	m := &imports{folder: filepath.Join(dir, uploadsFolder), clock: clock, files: map[string]*upload{}}
	if err := os.RemoveAll(m.folder); err != nil {
		return nil, fmt.Errorf("delete the uploads of an earlier run: %w", err)
	}
	m.background, m.stop = context.WithCancel(context.Background())
	return m, nil
}

// end stops what is under way, of which nothing is stored then, and deletes the files.
func (m *imports) end() {
	m.stop()
	m.beside.Wait()
	m.mu.Lock()
	defer m.mu.Unlock()
	for id, u := range m.files {
		u.forget.Stop()
		delete(m.files, id)
	}
	os.RemoveAll(m.folder) //nolint:errcheck,gosec // the next start deletes what is left
}

// add keeps a file of somebody.
func (m *imports) add(by string, kind desk.Kind, name string, content io.Reader) (*upload, error) {
	m.sweep()
	key := access.Key(by)
	m.mu.Lock()
	waiting := 0
	for _, u := range m.files {
		if u.by == key && u.now().stage != stageStored {
			waiting++
		}
	}
	m.mu.Unlock()
	if waiting >= uploadsAtOnce {
		return nil, &kit.PageError{Status: 409, Message: fmt.Sprintf("%d files of yours are waiting.", waiting), Hint: "Store or discard one of them first."}
	}
	id, err := access.NewToken(rand.Reader)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(m.folder, 0o700); err != nil {
		return nil, err
	}
	u := &upload{id: id, by: key, kind: kind, name: name, at: unit.At(m.clock()), path: filepath.Join(m.folder, id)}
	f, err := os.OpenFile(u.path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	u.size, err = io.Copy(f, content)
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, errors.Join(err, os.Remove(u.path))
	}
	u.forget = time.AfterFunc(uploadKept, m.sweep)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.files[id] = u
	return u, nil
}

// find returns a file of somebody.
func (m *imports) find(by, id string) (*upload, error) {
	m.sweep()
	m.mu.Lock()
	defer m.mu.Unlock()
	u, ok := m.files[id]
	if !ok || u.by != access.Key(by) {
		return nil, kit.NotHere("This file is not here any more: files wait for an hour. Upload it again; what is stored already is stored once.")
	}
	return u, nil
}

// of returns the files of somebody, the latest first.
func (m *imports) of(by string) []*upload {
	m.sweep()
	m.mu.Lock()
	defer m.mu.Unlock()
	var all []*upload
	for _, u := range m.files {
		if u.by == access.Key(by) {
			all = append(all, u)
		}
	}
	slices.SortFunc(all, func(a, b *upload) int { return cmp.Or(cmp.Compare(b.at, a.at), cmp.Compare(a.id, b.id)) })
	return all
}

// sweep forgets files whose time is over: an hour for those that wait, and as long as a session lasts at
// most for what came of those that are stored. What is under way goes on.
func (m *imports) sweep() {
	now := unit.At(m.clock())
	m.mu.Lock()
	defer m.mu.Unlock()
	for id, u := range m.files {
		s := u.now()
		over := now.Sub(u.at) >= uploadKept
		switch s.stage {
		case stageTrying, stageStoring:
			over = false
		case stageStored:
			over = now.Sub(s.ended) >= access.Longest
		case stageWaiting, stageTried:
		}
		if over {
			m.forget(id, u)
		}
	}
}

// discard forgets a file that is not under way.
func (m *imports) discard(u *upload) error {
	if s := u.now().stage; s == stageTrying || s == stageStoring {
		return &kit.PageError{Status: 409, Message: "The file is being read.", Hint: "Wait for its end."}
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.forget(u.id, u)
	return nil
}

// forget deletes a file and what was told about it. m.mu is held.
func (m *imports) forget(id string, u *upload) {
	u.forget.Stop()
	delete(m.files, id)
	for _, name := range []string{u.path, u.path + toldSuffix, u.path + refusedSuffix} {
		os.Remove(name) //nolint:errcheck,gosec // what is left is deleted at the next start
	}
}

// now returns the state as it is.
func (u *upload) now() state {
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.state
}

// change changes the state.
func (u *upload) change(f func(*state)) {
	u.mu.Lock()
	defer u.mu.Unlock()
	f(&u.state)
}

// look sees how the file is written, by what its profile says so far.
func (u *upload) look(p table.Profile) (table.Peeked, error) {
	f, err := os.Open(u.path)
	if err != nil {
		return table.Peeked{}, err
	}
	defer f.Close() //nolint:errcheck // only read
	return table.Peek(u.name, f, p, peekedRows)
}
