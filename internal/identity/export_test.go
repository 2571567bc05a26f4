package identity

import (
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
)

// Take takes an attempt out of the bucket of its source, and says how many buckets are kept.
func (d *Door) Take(address string, now unit.Instant) (wait time.Duration, kept int) {
	wait, _ = d.sources.Take(address, now)
	return wait, len(d.sources.sources)
}

// Watch calls seen around every comparison of a secret with a slow hash, and tells its cost.
func (d *Door) Watch(seen func(cost access.Cost, compare func() bool) bool) {
	d.hashes.matches = func(h access.Hash, secret string) bool {
		return seen(h.Cost, func() bool { return h.Matches(secret) })
	}
}
