package kit

import (
	"log/slog"
	"net/http"
	"time"
)

// downloadPatience is how long a browser may take for each piece of a long answer.
const downloadPatience = 2 * time.Minute

// Stream begins an answer that is too long to be kept in memory, with a name to keep it under, and returns
// where it goes. Once a byte was sent an error can only cut the answer off, so that nobody takes it for a
// whole one.
func (x *Exchange) Stream(kind, name string) *Streamed {
	x.Named(name)
	x.W.Header().Set("Content-Type", kind)
	return &Streamed{x: x, control: http.NewResponseController(x.W)}
}

// Streamed is a long answer on its way.
type Streamed struct {
	x       *Exchange
	control *http.ResponseController
	begun   bool
}

// Write sends a piece.
func (s *Streamed) Write(p []byte) (int, error) {
	s.begun = true
	// A recorder in a test has no deadlines; a browser that takes nothing is let go.
	_ = s.control.SetWriteDeadline(time.Now().Add(downloadPatience)) //nolint:forbidigo // a deadline of the network
	return s.x.W.Write(p)
}

// End ends the answer.
func (s *Streamed) End(err error) error {
	if err != nil && s.begun {
		s.x.Shell.Log.Error("a long answer was cut off", slog.String("path", s.x.R.URL.Path), slog.Any("error", err))
		panic(http.ErrAbortHandler)
	}
	if err != nil {
		s.x.W.Header().Del("Content-Disposition")
	}
	return err
}
