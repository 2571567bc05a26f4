package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"io"
	"maps"
	"net/http"
	"sync"
	"time"

	"rinsate/internal/base/unit"
)

// repeatFor is for how long a form that was sent a second time is answered as the first time: longer than
// two presses of a button, and shorter than anybody takes to mean it anew (common practice).
const repeatFor = 10 * time.Second

// repeats keeps the answers to signed forms for a short time. Signing gives the browser a new token, and a
// browser that sends the form twice, as by a double click, waits for the second answer alone: without this
// it would come with a token that has ended and find itself at the door, though the form was stored.
//
// Only the same form from the same session is answered so: whoever asks shows what was signed with, too.
type repeats struct {
	mu   sync.Mutex
	open map[[sha256.Size]byte]*repeat
}

// repeat is a form that is being answered, or was.
type repeat struct {
	// done is closed when it was answered.
	done chan struct{}
	// answer is nil unless it gave the browser a new token.
	answer *keptAnswer
	until  unit.Instant
}

// keptAnswer is an answer as it was sent.
type keptAnswer struct {
	status int
	header http.Header
	body   bytes.Buffer
}

// tee writes an answer and keeps it.
type tee struct {
	http.ResponseWriter
	kept keptAnswer
}

func (t *tee) WriteHeader(status int) {
	t.kept.status, t.kept.header = status, t.Header().Clone()
	t.ResponseWriter.WriteHeader(status)
}

func (t *tee) Write(content []byte) (int, error) {
	if t.kept.status == 0 {
		t.WriteHeader(http.StatusOK)
	}
	t.kept.body.Write(content)
	return t.ResponseWriter.Write(content)
}

// once answers a form that makes a record through answer, or as it was answered a moment ago.
func (x *exchange) once(ctx context.Context, answer func()) {
	id, token := x.r.PostForm.Get("id"), x.token()
	if x.r.Method != http.MethodPost || id == "" || token == "" {
		answer()
		return
	}
	key := sha256.Sum256([]byte(token + "\n" + x.r.URL.Path + "\n" + x.r.PostForm.Encode()))
	mine, before := x.s.repeats.begin(ctx, key, x.s.now())
	switch {
	case before != nil:
		maps.Copy(x.w.Header(), before.header)
		x.w.WriteHeader(before.status)
		io.Copy(x.w, bytes.NewReader(before.body.Bytes())) //nolint:errcheck // see answer
	case mine == nil: // nobody waits any more
	default:
		t := &tee{ResponseWriter: x.w}
		x.w = t
		defer func() {
			if x.renewed {
				mine.answer = &t.kept
			}
			x.s.repeats.end(key, mine, x.s.now())
		}()
		answer()
	}
}

// begin waits until nobody else answers the same form. It returns the answer that was given, or what to
// end with when there is none.
func (r *repeats) begin(ctx context.Context, key [sha256.Size]byte, now unit.Instant) (mine *repeat, before *keptAnswer) {
	for {
		r.mu.Lock()
		for k, old := range r.open {
			if old.until != 0 && now > old.until {
				delete(r.open, k)
			}
		}
		other := r.open[key]
		if other == nil {
			mine = &repeat{done: make(chan struct{})}
			if r.open == nil {
				r.open = map[[sha256.Size]byte]*repeat{}
			}
			r.open[key] = mine
			r.mu.Unlock()
			return mine, nil
		}
		r.mu.Unlock()
		select {
		case <-other.done:
		case <-ctx.Done():
			return nil, nil
		}
		if other.answer != nil {
			return nil, other.answer
		}
	}
}

// end lets whoever waits go on. What gave no new token can be asked anew.
func (r *repeats) end(key [sha256.Size]byte, mine *repeat, now unit.Instant) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if mine.until = now.Add(repeatFor); mine.answer == nil {
		delete(r.open, key)
	}
	close(mine.done)
}
