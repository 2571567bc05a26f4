package identity

import (
	"context"
	"crypto/rand"
	"net/netip"
	"sync"
	"time"

	"rinsate/internal/base/unit"
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

// mostSources bounds the memory that strangers can make the program use.
const mostSources = 10_000

// sources bounds how often one source may try.
type sources struct {
	mu      sync.Mutex
	buckets map[string]access.Bucket
}

// admit takes an attempt out of the bucket of its source. When more sources are at work than are kept,
// the new ones share one bucket.
func (s *sources) admit(address string, now unit.Instant) time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	key := network(address)
	if _, known := s.buckets[key]; !known && len(s.buckets) >= mostSources {
		for k, b := range s.buckets {
			if b.Full(now) {
				delete(s.buckets, k)
			}
		}
		if len(s.buckets) >= mostSources {
			key = "others"
		}
	}
	bucket, wait := s.buckets[key].Take(now)
	s.buckets[key] = bucket
	return wait
}

// network returns what counts as one source: an address, of IPv6 the network of one place (/64, RFC 4291
// section 2.5.4), within which anybody has as many addresses as they like.
func network(address string) string {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return cut(address, longestAddress)
	}
	if a = a.Unmap(); a.Is6() {
		if p, err := a.WithZone("").Prefix(64); err == nil {
			return p.String()
		}
	}
	return a.String()
}
