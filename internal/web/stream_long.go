package web

import (
	"log/slog"
	"net/http"
	"time"
)

// downloadPatience is how long a browser may take for each piece of a long answer.
const downloadPatience = 2 * time.Minute

// stream begins an answer that is too long to be kept in memory, with a name to keep it under, and returns
// where it goes. Once a byte was sent an error can only cut the answer off, so that nobody takes it for a
// whole one.
func (x *exchange) stream(kind, name string) *streamed {
	x.named(name)
	x.w.Header().Set("Content-Type", kind)
	return &streamed{x: x, control: http.NewResponseController(x.w)}
}

// streamed is a long answer on its way.
type streamed struct {
	x       *exchange
	control *http.ResponseController
	begun   bool
}

// Write sends a piece.
func (s *streamed) Write(p []byte) (int, error) {
	s.begun = true
	// A recorder in a test has no deadlines; a browser that takes nothing is let go.
	_ = s.control.SetWriteDeadline(time.Now().Add(downloadPatience)) //nolint:forbidigo // a deadline of the network
	return s.x.w.Write(p)
}

// end ends the answer.
func (s *streamed) end(err error) error {
	if err != nil && s.begun {
		s.x.s.log.Error("a long answer was cut off", slog.String("path", s.x.r.URL.Path), slog.Any("error", err))
		panic(http.ErrAbortHandler)
	}
	if err != nil {
		s.x.w.Header().Del("Content-Disposition")
	}
	return err
}
