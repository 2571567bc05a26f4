package dossier

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"path"
	"strconv"
	"strings"
)

// Media is the media type of a file.
type Media string

// The media types that are kept.
const (
	JPEG Media = "image/jpeg"
	PNG  Media = "image/png"
	PDF  Media = "application/pdf"
)

// MediaTypes lists every media type that is kept.
var MediaTypes = []Media{JPEG, PNG, PDF}

// allowed says it in the words of a refusal.
const allowed = "JPEG (.jpg, .jpeg), PNG (.png) and PDF (.pdf)"

// Extension returns the ending that a file of the type is given, with its dot; empty for a type that
// is not kept.
func (m Media) Extension() string {
	switch m {
	case JPEG:
		return ".jpg"
	case PNG:
		return ".png"
	case PDF:
		return ".pdf"
	}
	return ""
}

func (m Media) words() string {
	switch m {
	case JPEG:
		return "JPEG picture"
	case PNG:
		return "PNG picture"
	case PDF:
		return "PDF document"
	}
	return string(m)
}

// What a file may be at most.
const (
	MaxSize   = 10 << 20   // bytes: 10 MiB
	MaxPixels = 50_000_000 // of a picture, so that showing it does not exhaust a tablet's memory
)

const digestSize = sha256.Size

// File is what bytes say about themselves.
type File struct {
	Media Media `json:"media_type"`
	// Size is in bytes.
	Size int64 `json:"size"`
	// Digest is the SHA-256 of the bytes in lower-case hexadecimal.
	Digest string `json:"sha256"`
	// Width and Height are those of a picture in pixels, as stored: a camera's note of how it was
	// held is not applied. Zero for other files.
	Width  int `json:"width,omitempty"`
	Height int `json:"height,omitempty"`
}

// Picture says whether the file is one.
func (f File) Picture() bool { return f.Media == JPEG || f.Media == PNG }

// Agrees refuses a claim that the file does not keep. What is empty in the claim claims nothing.
func (f File) Agrees(claim File) error {
	switch {
	case claim.Media != "" && claim.Media != f.Media:
		return fmt.Errorf("the file is called a %s and holds a %s: give it the name that fits, or look whether it is the right "+
			"file; allowed: %s", claim.Media.words(), f.Media.words(), allowed)
	case claim.Digest != "" && claim.Digest != f.Digest:
		return fmt.Errorf("the file that arrived is not the one that was sent: its SHA-256 is %s, said was %s; send it again", f.Digest, claim.Digest)
	case claim.Size != 0 && claim.Size != f.Size:
		return fmt.Errorf("the file that arrived is not the one that was sent: it has %d bytes, said were %d; send it again", f.Size, claim.Size)
	}
	return nil
}

// Claim returns the media type that the name of a file and the type that a sender declares for it
// claim, empty when they claim none: the name has no ending, the type is empty or the general
// application/octet-stream. Case and a type's parameters do not count. It refuses an ending or a type
// that is not kept, and two that differ.
func Claim(name, declared string) (Media, error) {
	ending := strings.ToLower(path.Ext(name))
	byName := Media("")
	switch ending {
	case "", ".":
	case ".jpg", ".jpeg":
		byName = JPEG
	case ".png":
		byName = PNG
	case ".pdf":
		byName = PDF
	default:
		return "", fmt.Errorf("files that end in %s are not kept; allowed: %s", ending, allowed)
	}
	kind, _, _ := strings.Cut(declared, ";")
	byType := Media(strings.ToLower(strings.TrimSpace(kind)))
	switch byType {
	case "", "application/octet-stream":
		return byName, nil
	case JPEG, PNG, PDF:
	default:
		return "", fmt.Errorf("files of the type %s are not kept; allowed: %s", byType, allowed)
	}
	if byName != "" && byName != byType {
		return "", fmt.Errorf("the file ends in %s and is declared as %s: one of the two is wrong", ending, byType)
	}
	return byType, nil
}

// Inspect decides from the bytes what a file is, and refuses one that is empty, larger than MaxSize,
// of another type than JPEG, PNG and PDF, a picture of more than MaxPixels, or damaged as far as that
// shows at the beginning and the end. It reads a picture's header and never decodes the picture. The
// content is not changed.
func Inspect(content []byte) (File, error) {
	f := File{Size: int64(len(content))}
	switch {
	case len(content) == 0:
		return File{}, fmt.Errorf("the file is empty")
	case len(content) > MaxSize:
		return File{}, fmt.Errorf("the file has %.1f MiB, at most %d MiB are kept: make the picture smaller or split the document",
			float64(len(content))/(1<<20), MaxSize>>20)
	}
	var err error
	switch {
	case bytes.HasPrefix(content, []byte("\xff\xd8\xff")): // ISO/IEC 10918-1, B.1.1.3: SOI and the next marker
		f.Media = JPEG
		f.Width, f.Height, err = pixels(jpeg.DecodeConfig(bytes.NewReader(content)))
	case bytes.HasPrefix(content, []byte("\x89PNG\r\n\x1a\n")): // ISO/IEC 15948, 5.2
		f.Media = PNG
		f.Width, f.Height, err = pixels(png.DecodeConfig(bytes.NewReader(content)))
	case bytes.HasPrefix(content, []byte("%PDF-")):
		f.Media = PDF
		err = wholePDF(content)
	default:
		return File{}, fmt.Errorf("the file is of a type that is not kept; allowed: %s", allowed)
	}
	if err != nil {
		return File{}, err
	}
	sum := sha256.Sum256(content)
	f.Digest = hex.EncodeToString(sum[:])
	return f, nil
}

// pixels checks what a picture's header says.
func pixels(c image.Config, err error) (width, height int, _ error) {
	if err != nil {
		return 0, 0, fmt.Errorf("the picture cannot be read and may be damaged: %w", err)
	}
	return c.Width, c.Height, checkPixels(c.Width, c.Height)
}

func checkPixels(width, height int) error {
	switch {
	case width < 1 || height < 1:
		return fmt.Errorf("the picture has no size: %d × %d pixels", width, height)
	case int64(height) > MaxPixels/int64(width):
		return fmt.Errorf("the picture has %d × %d pixels, at most %d million are kept: make it smaller", width, height, MaxPixels/1_000_000)
	}
	return nil
}

// pdfTail is how near its end a PDF has its end mark: PDF Reference 1.7, appendix H, note 18.
const pdfTail = 1024

// wholePDF refuses a PDF without the version at its beginning and the trailer at its end (ISO
// 32000-1, 7.5.2 and 7.5.5): one that was cut off, mostly.
func wholePDF(content []byte) error {
	version := content[len("%PDF-"):]
	if len(version) < 3 || version[0] < '1' || version[0] > '2' || version[1] != '.' || version[2] < '0' || version[2] > '9' {
		return fmt.Errorf("the document does not say which version of PDF it is, so it may be damaged")
	}
	tail := content[max(0, len(content)-pdfTail):]
	end := bytes.LastIndex(tail, []byte("%%EOF"))
	if end < 0 {
		return fmt.Errorf("the document has no end mark, so a part of it is missing: get the whole file")
	}
	start := bytes.LastIndex(tail[:end], []byte("startxref"))
	if start < 0 {
		return fmt.Errorf("the document has no trailer, so it is damaged: get the file again")
	}
	offset, err := strconv.ParseInt(string(bytes.TrimSpace(tail[start+len("startxref"):end])), 10, 64)
	if err != nil || offset < 0 || offset >= int64(len(content)) {
		return fmt.Errorf("the document's trailer points outside of it, so a part is missing: get the whole file")
	}
	return nil
}
