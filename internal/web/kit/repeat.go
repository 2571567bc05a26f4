package kit

import (
	"bytes"
	"context"
	"crypto/sha256"
	"io"
	"maps"
	"net/http"
	"time"
)

// RepeatFor is for how long a form that was sent a second time is answered as the first time: longer than
// two presses of a button, and shorter than anybody takes to mean it anew (common practice).
const RepeatFor = 10 * time.Second

// mostRepeats is how many such answers are kept: those to more forms than a house signs in that time.
const mostRepeats = 256

// newRepeats keeps the answers to signed forms for a short time. Signing gives the browser a new token, and
// a browser that sends the form twice, as by a double click, waits for the second answer alone: without
// this it would come with a token that has ended and find itself at the door, though the form was stored.
//
// Only the same form from the same session is answered so: whoever asks shows what was signed with, too.
// An answer that gave no new token is not kept: the form can be sent anew.
func newRepeats() Cache {
	return Cache{
		Most:  mostRepeats,
		Span:  RepeatFor,
		worth: func(answer any) bool { return answer.(*wholeAnswer).renewed },
	} //nolint:forcetypeassert // once asks for nothing else
}

// wholeAnswer is an answer as it is sent, to each browser that asked for it.
type wholeAnswer struct {
	header http.Header
	status int
	body   bytes.Buffer
	// renewed says that it gives the browser a new token.
	renewed bool
}

// Header returns what stands before the answer.
func (a *wholeAnswer) Header() http.Header { return a.header }

// WriteHeader takes the status; further ones do not count.
func (a *wholeAnswer) WriteHeader(status int) {
	if a.status == 0 {
		a.status = status
	}
}

func (a *wholeAnswer) Write(content []byte) (int, error) {
	a.WriteHeader(http.StatusOK)
	return a.body.Write(content)
}

// send sends the answer.
func (a *wholeAnswer) send(w http.ResponseWriter) {
	clear(w.Header())
	maps.Copy(w.Header(), a.header)
	a.WriteHeader(http.StatusOK)
	w.WriteHeader(a.status)
	io.Copy(w, bytes.NewReader(a.body.Bytes())) //nolint:errcheck // see Answer
}

// once answers a form that makes a record through answer, or as it was answered a moment ago. What was
// begun is ended although the browser has gone: it may be asking for the same a second time.
func (x *Exchange) once(ctx context.Context, answer func()) {
	id, token := x.R.PostForm.Get("id"), x.Token()
	if x.R.Method != http.MethodPost || id == "" || token == "" {
		answer()
		return
	}
	form := sha256.Sum256([]byte(token + "\n" + x.R.URL.Path + "\n" + x.R.PostForm.Encode()))
	w := x.W
	before := w.Header().Clone()
	whole, err := Ask(ctx, &x.Shell.repeats, Question{Text: string(form[:]), At: x.Shell.Now()}, func(ctx context.Context) (*wholeAnswer, error) {
		a := &wholeAnswer{header: before}
		x.W, x.R = a, x.R.WithContext(ctx)
		answer()
		a.renewed = x.renewed
		return a, nil
	})
	switch {
	case err == nil:
		whole.send(w)
	case ctx.Err() != nil: // nobody waits any more
	default:
		(&Exchange{Shell: x.Shell, W: w, R: x.R, Asker: x.Asker, Data: x.Data}).Fail(err)
	}
}
