package web

import (
	"context"
	"strconv"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/web/kit"
)

// overview is what holds of the whole fleet at one size of the ledger: what many pages show and what takes
// longer to find out than a page should take.
type overview struct {
	board []reprocessing.Answer
	open  []desk.OpenSample
	ends  []desk.OpenEnd
	// emergencies is how many emergency uses are not settled.
	emergencies desk.PendingEmergencies
}

// overviewFor is for how long it is shown while nothing is recorded: a state that ends by itself, such as
// the storage time of a scope, may show that much longer on boards. The release check always looks for itself.
const overviewFor = 15 * time.Second

// overview returns what holds now, with everything that is recorded by now. Whoever needs a newer one waits
// while it is made, once for all.
func (s *Server) overview(ctx context.Context) (*overview, error) {
	size, err := s.size(ctx)
	if err != nil {
		return nil, err
	}
	now := s.Now()
	asked := kit.Question{Text: "fleet " + strconv.FormatInt(s.Desk.DB.Trusts(), 10), Size: size, At: now}
	return kit.Ask(ctx, &s.overviews, asked, func(ctx context.Context) (*overview, error) {
		var o overview
		err := s.View(ctx, func(v desk.View) (err error) {
			if o.board, err = v.Day().BoardNow(now); err != nil {
				return err
			}
			if o.open, err = v.Day().OpenSamples(now); err != nil {
				return err
			}
			if o.ends, err = v.Day().OpenEnds(now); err != nil {
				return err
			}
			o.emergencies, err = v.Day().PendingEmergencies()
			return err
		})
		return &o, err
	})
}

// live tells a page whenever something was recorded, once what holds then was found out.
func (s dayPages) live(x *kit.Exchange) error {
	return s.Live(x, func(ctx context.Context) error {
		_, err := s.overview(ctx)
		return err
	})
}
