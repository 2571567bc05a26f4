package access

import (
	"time"

	"rinsate/internal/base/unit"
)

// Limits of guessing. The wait after a failure doubles from FirstWait to LongestWait and no further, so
// that nobody can keep a colleague out for long (common practice). After MostFailures in a row the
// password does not count any more until it is reset (NIST SP 800-63B-4 section 3.2.2 allows 100 at
// most). A PIN has few values and ends sooner; the password still works then.
const (
	FirstWait       = time.Second
	LongestWait     = time.Minute
	MostFailures    = 100
	MostPINFailures = 5
)

// Failures are the failed attempts in a row at one account.
type Failures struct {
	Count int
	// Last is when the last one was.
	Last unit.Instant
}

// After returns the state after one more failure.
func (f Failures) After(now unit.Instant) Failures { return Failures{f.Count + 1, now} }

// Wait returns how long from now until the next attempt is heard, 0 when it is heard at once. When the
// clock was set back since the last failure, the wait begins anew.
func (f Failures) Wait(now unit.Instant) time.Duration {
	if f.Count <= 0 {
		return 0
	}
	wait := LongestWait
	if doublings := f.Count - 1; doublings < 6 { // 2^6 s is over a minute
		wait = FirstWait << doublings
	}
	return max(0, wait-max(0, now.Sub(f.Last)))
}

// Spent says that no password counts any more until it is reset.
func (f Failures) Spent() bool { return f.Count >= MostFailures }

// PINSpent says that a PIN does not count any more until somebody has signed in with the password.
func (f Failures) PINSpent() bool { return f.Count >= MostPINFailures }

// The bucket of one source of attempts: so many at once, and then one each so often. A shared bench is
// one source for everybody who works at it. Common practice.
const (
	BucketSize  = 20
	BucketEvery = 3 * time.Second
)

// Pace is how fast one source may do something: Size at once, and then one each Every.
type Pace struct {
	Size  int
	Every time.Duration
}

// Attempts is the pace of guessing; Unsigned that of emergency uses by people who have not signed in: no more scopes
// than go on patients in one room at one time, so that a source of mischief leaves most of a fleet alone (common
// practice).
var (
	Attempts = Pace{Size: BucketSize, Every: BucketEvery}
	Unsigned = Pace{Size: 5, Every: 15 * time.Second}
)

// Bucket holds what a source has left (a token bucket). The zero value is a full one.
type Bucket struct {
	// Used is how long it takes until the bucket is full again, counted from At.
	Used time.Duration
	At   unit.Instant
}

// Take takes one attempt out of the bucket at a pace. Without one left it returns the bucket as it was and how
// long until there is one. When the clock was set back, nothing is filled up meanwhile.
func (b Bucket) Take(p Pace, now unit.Instant) (Bucket, time.Duration) {
	used := b.used(now) + p.Every
	if over := used - time.Duration(p.Size)*p.Every; over > 0 {
		return b, over
	}
	return Bucket{used, now}, 0
}

// PutBack is the bucket with one in it again that was taken at a pace.
func (b Bucket) PutBack(p Pace) Bucket { return Bucket{max(0, b.Used-p.Every), b.At} }

// Full says that nothing is known about the source any more, so that its bucket may be forgotten.
func (b Bucket) Full(now unit.Instant) bool { return b.used(now) == 0 }

func (b Bucket) used(now unit.Instant) time.Duration { return max(0, b.Used-max(0, now.Sub(b.At))) }
