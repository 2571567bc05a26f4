package identity

import (
	"context"
	"crypto/rand"

	"rinsate/internal/domain/access"
)

// hashesAtOnce bounds the memory and the cores that strangers can make the program use.
const hashesAtOnce = 2

// hashes computes and compares slow hashes.
type hashes struct {
	// cost is that of new hashes.
	cost access.Cost
	// places holds one for each hash that may be computed at the same time: each takes a core and the memory
	// of its cost.
	places  chan struct{}
	matches func(h access.Hash, secret string) bool
}

func newHashes(cost access.Cost) hashes {
	return hashes{cost: cost, places: make(chan struct{}, hashesAtOnce), matches: access.Hash.Matches}
}

// of hashes a secret at the cost of new hashes.
func (h *hashes) of(ctx context.Context, secret string) (string, error) {
	if err := h.enter(ctx); err != nil {
		return "", err
	}
	defer h.leave()
	hash, err := access.HashSecret(secret, h.cost, rand.Reader)
	return hash.String(), err
}

func (h *hashes) enter(ctx context.Context) error {
	select {
	case h.places <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (h *hashes) leave() { <-h.places }
