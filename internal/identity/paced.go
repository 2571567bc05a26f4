package identity

import (
	"net/netip"
	"sync"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
)

// mostSources bounds the memory that strangers can make the program use.
const mostSources = 10_000

// Paced bounds how often one source may do something: try a secret, or what needs no signing in.
type Paced struct {
	Pace access.Pace

	mu      sync.Mutex
	sources map[string]pacedSource
}

type pacedSource struct {
	bucket access.Bucket
	// refused says that it was refused since it was last heard.
	refused bool
}

// Take takes one out of what a source has left and returns how long it would have to wait, 0 when it is heard. First says
// of a refusal that it is the first since the source was last heard, so that a flood is one line of a log. When more
// sources are at work than are kept, the new ones are one.
func (p *Paced) Take(address string, now unit.Instant) (wait time.Duration, first bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.sources == nil {
		p.sources = map[string]pacedSource{}
	}
	if _, known := p.sources[network(address)]; !known && len(p.sources) >= mostSources {
		for k, s := range p.sources {
			if s.bucket.Full(now) {
				delete(p.sources, k)
			}
		}
	}
	key := p.key(address)
	was := p.sources[key]
	bucket, wait := was.bucket.Take(p.Pace, now)
	p.sources[key] = pacedSource{bucket, wait > 0}
	return wait, wait > 0 && !was.refused
}

// PutBack gives back what was taken for something that was then not done.
func (p *Paced) PutBack(address string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	key := p.key(address)
	if s, known := p.sources[key]; known {
		s.bucket = s.bucket.PutBack(p.Pace)
		p.sources[key] = s
	}
}

// key is under what a source is kept.
func (p *Paced) key(address string) string {
	key := network(address)
	if _, known := p.sources[key]; !known && len(p.sources) >= mostSources {
		return "others"
	}
	return key
}

// network returns what counts as one source: an address, of IPv6 the network of one place (/64, RFC 4291 section 2.5.4),
// within which anybody has as many addresses as they like.
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
