package web

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"rinsate/internal/desk"
)

// studies keeps the last derivations, since every step of the workshop rests on the same one. A derivation
// counts as long as nothing was recorded since.
type studies struct {
	mu   sync.Mutex
	kept []keptStudy
}

type keptStudy struct {
	key     string
	studied desk.Studied
}

// mostStudies is how many derivations are kept: two people who walk through the workshop, and one over.
const mostStudies = 3

// studied derives candidates, or finds that this was done before. What it returns is shared: nobody
// changes it.
func (s *Server) studied(ctx context.Context, study desk.Study) (d desk.Studied, err error) {
	err = s.view(ctx, func(v desk.View) error {
		size, err := v.Size()
		if err != nil {
			return err
		}
		key := fmt.Sprintf("%d %+v", size, study)
		s.studies.mu.Lock()
		i := slices.IndexFunc(s.studies.kept, func(k keptStudy) bool { return k.key == key })
		if i >= 0 {
			d = s.studies.kept[i].studied
		}
		s.studies.mu.Unlock()
		if i >= 0 {
			return nil
		}
		if d, err = v.Study(study); err != nil {
			return err
		}
		s.studies.mu.Lock()
		defer s.studies.mu.Unlock()
		s.studies.kept = append([]keptStudy{{key, d}}, s.studies.kept[:min(len(s.studies.kept), mostStudies-1)]...)
		return nil
	})
	return d, err
}
