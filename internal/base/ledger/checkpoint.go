package ledger

import (
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint states what a log held at one moment (C2SP tlog-checkpoint).
type Checkpoint struct {
	Origin string    // name of the log, such as ledger.example.org/site-a
	Size   int64     // number of records
	Root   tlog.Hash // root hash of their Merkle tree
}

// Text returns the three lines that are signed. tlog.FormatTree is no substitute: its first line
// is that of another kind of log.
func (c Checkpoint) Text() string {
	return c.Origin + "\n" + strconv.FormatInt(c.Size, 10) + "\n" + c.Root.String() + "\n"
}

// ParseCheckpoint reads what Text writes and nothing else: no extension lines, no leading zeros,
// no other form of base64. It knows nothing of signatures; Open does.
func ParseCheckpoint(text string) (Checkpoint, error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 || lines[3] != "" {
		return Checkpoint{}, fmt.Errorf("malformed checkpoint: expected the three lines origin, size and root hash")
	}
	size, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil {
		return Checkpoint{}, fmt.Errorf("malformed checkpoint: %q is not a size", lines[1])
	}
	root, err := tlog.ParseHash(lines[2])
	if err != nil {
		return Checkpoint{}, fmt.Errorf("malformed checkpoint: %q is not a root hash", lines[2])
	}
	c := Checkpoint{Origin: lines[0], Size: size, Root: root}
	if err := c.check(); err != nil {
		return Checkpoint{}, err
	}
	if c.Text() != text {
		return Checkpoint{}, fmt.Errorf("malformed checkpoint: size or root hash is not in its one form")
	}
	return c, nil
}

func (c Checkpoint) check() error {
	switch {
	case checkOrigin(c.Origin) != nil:
		return checkOrigin(c.Origin)
	case c.Size < 0 || c.Size > maxSize:
		return fmt.Errorf("malformed checkpoint: size %d is not possible", c.Size)
	case c.Size == 0 && c.Root != emptyRoot:
		return fmt.Errorf("malformed checkpoint: the root hash is not that of an empty log")
	}
	return nil
}

func checkOrigin(origin string) error {
	if origin == "" || strings.ContainsFunc(origin, func(r rune) bool {
		return r == '+' || r == unicode.ReplacementChar || unicode.IsSpace(r) || unicode.IsControl(r)
	}) {
		return fmt.Errorf("origin %q is not usable: it must be a name without spaces and plus signs, such as ledger.example.org/site-a", origin)
	}
	return nil
}

// GenerateKey makes an Ed25519 key for the log named origin from 32 bytes of rand. skey is secret,
// vkey goes to whoever verifies; both are one line in the format of package note.
func GenerateKey(rand io.Reader, origin string) (skey, vkey string, err error) {
	seed := make([]byte, ed25519.SeedSize)
	if _, err := io.ReadFull(rand, seed); err != nil {
		return "", "", fmt.Errorf("read randomness for a key: %w", err)
	}
	return keyTexts(origin, seed)
}

// ed25519Type is the C2SP signed-note type of an Ed25519 key.
const ed25519Type = 1

func keyTexts(origin string, seed []byte) (skey, vkey string, err error) {
	if err := checkOrigin(origin); err != nil {
		return "", "", err
	}
	if len(seed) != ed25519.SeedSize {
		return "", "", fmt.Errorf("an Ed25519 seed of %d bytes, expected %d", len(seed), ed25519.SeedSize)
	}
	public, ok := ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey)
	if !ok {
		return "", "", errors.New("no Ed25519 public key for this seed")
	}
	vkey, err = note.NewEd25519VerifierKey(origin, public)
	if err != nil {
		return "", "", err
	}
	id := strings.Split(vkey, "+")[1] // the origin holds no plus sign
	secret := base64.StdEncoding.EncodeToString(append([]byte{ed25519Type}, seed...))
	return "PRIVATE+KEY+" + origin + "+" + id + "+" + secret, vkey, nil
}

// Signer signs the checkpoints of one log.
type Signer struct {
	key  note.Signer
	vkey string
}

// NewSigner returns the signer of the log named origin for a 32-byte Ed25519 seed.
func NewSigner(origin string, seed []byte) (Signer, error) {
	skey, vkey, err := keyTexts(origin, seed)
	if err != nil {
		return Signer{}, err
	}
	key, err := note.NewSigner(skey)
	return Signer{key, vkey}, err
}

// ParseSigner returns the signer for a key text that GenerateKey made. An error does not repeat
// the text, since it may end in a log.
func ParseSigner(skey string) (Signer, error) {
	key, err := note.NewSigner(skey)
	if err != nil {
		return Signer{}, fmt.Errorf("malformed signing key: expected PRIVATE+KEY+name+id+base64")
	}
	secret := strings.SplitN(skey, "+", 5)[4]
	seed, err := base64.StdEncoding.DecodeString(secret)
	if err != nil || len(seed) < 1 {
		return Signer{}, fmt.Errorf("malformed signing key: its last part is not base64")
	}
	return NewSigner(key.Name(), seed[1:])
}

// Origin returns the name of the log.
func (s Signer) Origin() string { return s.key.Name() }

// VKey returns the public key text for verifiers.
func (s Signer) VKey() string { return s.vkey }

// Sign returns the signed note of c, whose origin must be the signer's. It does not know what was
// signed before: the caller first checks c against its last checkpoint with CheckConsistency and
// stores it before it shows it to anybody.
func (s Signer) Sign(c Checkpoint) ([]byte, error) {
	if c.Origin != s.Origin() {
		return nil, fmt.Errorf("the key of %q cannot sign for %q", s.Origin(), c.Origin)
	}
	if err := c.check(); err != nil {
		return nil, err
	}
	return note.Sign(&note.Note{Text: c.Text()}, s.key)
}

// Open verifies a signed checkpoint: at least one of vkeys must have signed it, under the name of
// its origin. Several keys serve key rotation. Signatures by unknown keys (witnesses) are ignored,
// as C2SP signed-note demands; a false one by a known key is an error.
func Open(signed []byte, vkeys []string) (Checkpoint, error) {
	var known []note.Verifier
	for _, vkey := range slices.Compact(slices.Sorted(slices.Values(vkeys))) {
		v, err := note.NewVerifier(vkey)
		if err != nil {
			return Checkpoint{}, fmt.Errorf("verifier key %q: %w", vkey, err)
		}
		known = append(known, v)
	}
	n, err := note.Open(signed, note.VerifierList(known...))
	if err != nil {
		if _, ok := errors.AsType[*note.UnverifiedNoteError](err); ok {
			return Checkpoint{}, fmt.Errorf("checkpoint is signed by none of the known keys: %w", err)
		}
		return Checkpoint{}, fmt.Errorf("open checkpoint: %w", err)
	}
	c, err := ParseCheckpoint(n.Text)
	if err != nil {
		return Checkpoint{}, err
	}
	for _, sig := range slices.Concat(n.Sigs, n.UnverifiedSigs) {
		if _, err := base64.StdEncoding.Strict().DecodeString(sig.Base64); err != nil {
			return Checkpoint{}, fmt.Errorf("malformed checkpoint: the signature of %s is not in its one form of base64", sig.Name)
		}
	}
	if !slices.ContainsFunc(n.Sigs, func(sig note.Signature) bool { return sig.Name == c.Origin }) {
		return Checkpoint{}, fmt.Errorf("checkpoint of %q is signed only by other names", c.Origin)
	}
	return c, nil
}
