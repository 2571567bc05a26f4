package web

import (
	"context"
	"fmt"

	"rinsate/internal/desk"
	"rinsate/internal/web/kit"
)

// mostStudies is how many derivations are kept: two people who walk through the workshop, and one over.
const mostStudies = 3

// studied derives candidates, or finds that this was done since the last record: every step of the workshop
// rests on the same ones. What it returns is shared: nobody changes it.
func (s levelPages) studied(ctx context.Context, study desk.Study) (desk.Studied, error) {
	size, err := s.size(ctx)
	if err != nil {
		return desk.Studied{}, err
	}
	return kit.Ask(ctx, &s.studies, kit.Question{Text: fmt.Sprintf("%+v", study), Size: size}, func(ctx context.Context) (d desk.Studied, err error) {
		err = s.View(ctx, func(v desk.View) error {
			d, err = v.Studies().Study(study)
			return err
		})
		return d, err
	})
}
