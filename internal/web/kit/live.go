package kit

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	"rinsate/internal/store"
)

// livePoll is how often the ledger is looked at for pages that are kept alive, heartbeat how often a
// page is told that the line still stands.
const (
	livePoll  = time.Second
	heartbeat = 20 * time.Second
)

// Live answers with a stream that tells a page whenever something was recorded, as server-sent events. The page then fetches its
// own content anew; an event holds nothing but the size of the ledger. recorded is called before an event is
// sent, to find out once what everybody then asks for.
func (s *Shell) Live(x *Exchange, recorded func(context.Context) error) error {
	control := http.NewResponseController(x.W)
	if err := control.SetWriteDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	h := x.W.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("X-Accel-Buffering", "no")
	x.W.WriteHeader(http.StatusOK)
	ctx := x.R.Context()
	ticker := time.NewTicker(livePoll)
	defer ticker.Stop()
	last, quiet := int64(-1), time.Duration(0)
	trusts := s.Desk.DB.Trusts()
	for {
		var size int64
		if err := s.Desk.DB.Read(ctx, func(tx *store.Tx) (err error) {
			size, err = tx.Size()
			return err
		}); err != nil {
			return nil // the page has gone, or the ledger is being closed: the browser asks again
		}
		text := ""
		switch {
		case last < 0:
			text = fmt.Sprintf("retry: 3000\nid: %d\nevent: hello\ndata: %d\n\n", size, size)
		case size != last || s.Desk.DB.Trusts() != trusts: // or what is recorded is relied on no more
			trusts = s.Desk.DB.Trusts()
			if err := recorded(ctx); err != nil {
				return nil // the page has gone, or the ledger is being closed: the browser asks again
			}
			text = fmt.Sprintf("id: %d\nevent: recorded\ndata: %d\n\n", size, size)
		case quiet >= heartbeat:
			text = ": still here\n\n"
		}
		last, quiet = size, quiet+livePoll
		if text != "" {
			quiet = 0
			if _, err := fmt.Fprint(x.W, text); err != nil {
				return nil // the page has gone
			}
			if err := control.Flush(); err != nil {
				return nil // the page has gone
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-s.closing:
			return nil
		case <-ticker.C:
		}
	}
}
