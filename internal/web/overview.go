package web

import (
	"context"
	"sync"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/turnaround"
)

// overview is what holds of the whole fleet at one size of the ledger: what many pages show and what takes
// longer to find out than a page should take.
type overview struct {
	size  int64
	at    unit.Instant
	board []turnaround.Answer
	open  []desk.OpenSample
	ends  []desk.OpenEnd
}

// overviewFor is for how long it is shown while nothing is recorded: a state that ends by itself, such as
// the storage time of a scope, may show that much longer on boards. The gate always looks for itself.
const overviewFor = 15 * time.Second

// overviews keeps the last one. Whoever needs a newer one waits while it is made, once for all.
type overviews struct {
	mu   sync.Mutex
	last *overview
}

// overview returns what holds now, with everything that is recorded by now.
func (s *Server) overview(ctx context.Context) (*overview, error) {
	s.overviews.mu.Lock()
	defer s.overviews.mu.Unlock()
	err := s.view(ctx, func(v desk.View) error {
		size, err := v.Size()
		if err != nil {
			return err
		}
		now := s.now()
		if last := s.overviews.last; last != nil && last.size == size && now >= last.at && now.Sub(last.at) < overviewFor {
			return nil
		}
		p := &overview{size: size, at: now}
		if p.board, err = v.Board(now); err != nil {
			return err
		}
		if p.open, err = v.OpenSamples(now); err != nil {
			return err
		}
		if p.ends, err = v.OpenEnds(now); err != nil {
			return err
		}
		s.overviews.last = p
		return nil
	})
	if err != nil {
		return nil, err
	}
	return s.overviews.last, nil
}

// live tells a page whenever something was recorded, once what holds then was found out.
func (s *Server) live(x *exchange) error {
	return s.shell.live(x, func(ctx context.Context) error {
		_, err := s.overview(ctx)
		return err
	})
}
