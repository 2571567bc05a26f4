// Package dossier answers what may be filed beside the readings of a scope: photographs and
// documents as they came, and the note that one shift leaves for the next.
//
// A file is evidence: it is looked at, named by the SHA-256 of its bytes, and never changed. Inspect
// says what bytes are and whether they can be filed, Claim what a file's name says that they are; a
// difference between the two is refused by File.Agrees. Attachment and Handover are what the ledger
// holds.
//
// Read Inspect and Attachment.Check first.
package dossier

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// Kind says what an attached file is to the people who read it.
type Kind string

// The kinds.
const (
	Photograph   Kind = "photograph"
	Instructions Kind = "instructions" // the manufacturer's, for use or for reprocessing
	Certificate  Kind = "certificate"
	Report       Kind = "report" // of a laboratory, a workshop, an inspection
	Other        Kind = "other"
)

// Kinds lists every kind.
var Kinds = []Kind{Photograph, Instructions, Certificate, Report, Other}

// MaxTitle is the longest title, in characters.
const MaxTitle = 200

// Attachment is a file that belongs to a scope. It says what the file is; the bytes are kept apart,
// under their hash.
type Attachment struct {
	Scope string `json:"scope"`
	// About is the record of the same scope that the file belongs to: an inspection, a repair. Empty
	// when it belongs to the scope as such.
	About string `json:"about,omitempty"`
	Kind  Kind   `json:"kind"`
	// Title is in the writer's words. The ledger keeps it for ever: no patient's name belongs in it.
	Title string `json:"title"`
	File
	// At is when the file was made or, where nobody says, when it was attached.
	At unit.Instant `json:"at"`
	By string       `json:"by"`
}

// Check refuses an attachment that nobody could make sense of later. It looks at what is said of the
// file and not at its bytes; Inspect does.
func (a Attachment) Check() error {
	switch {
	case a.Scope == "":
		return fmt.Errorf("attachment: the scope is missing")
	case !slices.Contains(Kinds, a.Kind):
		return fmt.Errorf("attachment to %s: kind %q is not known; allowed: %s", a.Scope, a.Kind, scope.Words(Kinds))
	case strings.TrimSpace(a.Title) == "":
		return fmt.Errorf("attachment to %s: the title is missing: say in a few words what the file shows", a.Scope)
	case utf8.RuneCountInString(a.Title) > MaxTitle:
		return fmt.Errorf("attachment to %s: the title has %d characters, at most %d are kept", a.Scope, utf8.RuneCountInString(a.Title), MaxTitle)
	case !utf8.ValidString(a.Title) || strings.ContainsFunc(a.Title, unicode.IsControl):
		return fmt.Errorf("attachment to %s: the title must be one line of plain text", a.Scope)
	case a.Kind == Photograph && !a.Picture():
		return fmt.Errorf("attachment to %s: a photograph is a picture, and the file is a %s: give it another kind", a.Scope, a.Media.words())
	case !a.At.Known():
		return fmt.Errorf("attachment to %s: when was the file made?", a.Scope)
	case a.By == "":
		return fmt.Errorf("attachment to %s: who attaches it?", a.Scope)
	}
	if err := checkFile(a.File); err != nil {
		return fmt.Errorf("attachment to %s: %w", a.Scope, err)
	}
	return nil
}

func checkFile(f File) error {
	digest, err := hex.DecodeString(f.Digest)
	switch {
	case !slices.Contains(MediaTypes, f.Media):
		return fmt.Errorf("media type %q is not kept; allowed: %s", f.Media, allowed)
	case f.Size < 1 || f.Size > MaxSize:
		return fmt.Errorf("a size of %d bytes is outside 1 to %d", f.Size, int64(MaxSize))
	case err != nil || len(digest) != digestSize || f.Digest != strings.ToLower(f.Digest):
		return fmt.Errorf("%q is not a SHA-256 in lower-case hexadecimal", f.Digest)
	case f.Picture():
		return checkPixels(f.Width, f.Height)
	case f.Width != 0 || f.Height != 0:
		return fmt.Errorf("a %s has no width and height in pixels", f.Media.words())
	}
	return nil
}
