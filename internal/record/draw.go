package record

import (
	"rinsate/internal/domain/sampling"
)

// DrawBody is a periodic draw with all that is needed to repeat it.
type DrawBody struct {
	Seed       string               `json:"seed"`
	Rule       sampling.Drawing     `json:"rule"`
	Candidates []sampling.Candidate `json:"candidates"`
	Picks      []sampling.Pick      `json:"picks"`
}
