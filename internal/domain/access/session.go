package access

import (
	"crypto/sha256"
	"encoding/base32"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"golang.org/x/text/unicode/norm"

	"rinsate/internal/base/unit"
)

// How long a session lives. Idle is CIS's 15 minutes: after it the session is locked, not lost, and what
// is on the page stays. Longest is a shift; NIST SP 800-63B-4 section 2.2.3 asks for 24 h at most at AAL2
// (from memory). A signature needs a proof of who signs that is no older than ProofHolds (common practice, for
// 21 CFR 11.200(a)). OnceHolds is how long a one-time code counts.
const (
	Idle       = 15 * time.Minute
	Longest    = 12 * time.Hour
	ProofHolds = 5 * time.Minute
	OnceHolds  = 24 * time.Hour
	// TouchEvery is how often it is noted that a session is in use, so that not every page writes.
	TouchEvery = time.Minute
	// clockSlack is how far the clock may be set back before a session that then lies in the future ends.
	clockSlack = 2 * time.Minute
)

// Times are the instants of a session.
type Times struct {
	Created unit.Instant
	// Seen is when it was last in use.
	Seen unit.Instant
	// Proved is when the person last showed who they are.
	Proved unit.Instant
	// Locked says that the person locked it.
	Locked bool
}

// State is what a session is good for.
type State string

// The states.
const (
	Active  State = "active"
	Locked  State = "locked"  // the PIN or the password opens it again
	Expired State = "expired" // sign in again
)

// State returns the state of a session at an instant. A session whose times are missing, or lie in the
// future by more than clocks are wrong, has expired.
func (t Times) State(now unit.Instant) State {
	ahead := now.Add(clockSlack)
	switch {
	case !t.Created.Known() || t.Created > ahead || t.Seen > ahead || t.Proved > ahead || now.Sub(t.Created) >= Longest:
		return Expired
	case t.Locked || now.Sub(t.Seen) >= Idle:
		return Locked
	}
	return Active
}

// MaySign says whether the person showed who they are recently enough to sign.
func (t Times) MaySign(now unit.Instant) bool {
	return t.State(now) == Active && t.Proved.Known() && now.Sub(t.Proved) < ProofHolds
}

// Ends returns when the session ends whatever happens.
func (t Times) Ends() unit.Instant { return t.Created.Add(Longest) }

// tokenBytes is the length of a session's token: 256 bits (ASVS 5.0 V7.2.3 asks for 128).
const tokenBytes = 32

// NewToken returns the secret text that a browser shows for its session.
func NewToken(random io.Reader) (string, error) {
	raw := make([]byte, tokenBytes)
	if _, err := io.ReadFull(random, raw); err != nil {
		return "", fmt.Errorf("no randomness for a token: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(raw), nil
}

// crockford has no letters that are mistaken for digits.
var crockford = base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)

// onceBytes is the length of a one-time code: 120 bits, so that a fast hash keeps it (ASVS 5.0 V6.5.2
// asks for a slow one below 112 bits).
const onceBytes = 15

// NewOnce returns a code for one sign-in, in six groups that can be read out: 7F3K-9QZD-...
func NewOnce(random io.Reader) (string, error) {
	raw := make([]byte, onceBytes)
	if _, err := io.ReadFull(random, raw); err != nil {
		return "", fmt.Errorf("no randomness for a code: %w", err)
	}
	var groups []string
	for group := range slices.Chunk([]byte(crockford.EncodeToString(raw)), 4) {
		groups = append(groups, string(group))
	}
	return strings.Join(groups, "-"), nil
}

// NormalOnce returns a one-time code as it was made from the way in which somebody typed it: case,
// hyphens and spaces do not matter, and O is 0, I and L are 1.
func NormalOnce(typed string) string {
	return strings.NewReplacer("-", "", " ", "", "O", "0", "I", "1", "L", "1").Replace(strings.ToUpper(typed))
}

// Kinds of text that are kept as a digest only.
const (
	TokenDigest = "session"
	OnceDigest  = "once"
	BadgeDigest = "badge"
	CodeDigest  = "code"
)

// Digest returns SHA-256 of a kind and a text, in hexadecimal. It keeps a secret that is too random to
// be guessed (a token, a one-time code), and finds a badge or a code without storing what was typed,
// which now and then is a password in the wrong field.
func Digest(kind, text string) string {
	sum := sha256.Sum256([]byte(kind + "\x00" + text))
	return hex.EncodeToString(sum[:])
}

// Key returns the digest under which an account is found: codes that differ only in case are one, so
// that nobody poses as another by it.
func Key(code string) string {
	return Digest(CodeDigest, strings.ToLower(norm.NFKC.String(strings.TrimSpace(code))))
}
