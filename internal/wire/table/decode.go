package table

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

const (
	encodingAuto = "auto"
	encodingUTF8 = "utf-8"
	encoding16   = "utf-16"
	encoding16LE = "utf-16le"
	encoding16BE = "utf-16be"
	encoding1252 = "windows-1252"
)

// encodings names what a profile may ask for. UTF-8 has no decoder here: it is checked, not
// converted. Byte order marks are taken off before a decoder sees the text. UTF-16 without a mark
// is big-endian (RFC 2781, 4.3).
var encodings = map[string]encoding.Encoding{
	encodingAuto: nil,
	encodingUTF8: nil,
	encoding16:   unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM),
	encoding16BE: unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM),
	encoding16LE: unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM),
	encoding1252: charmap.Windows1252,
	"iso-8859-1": charmap.ISO8859_1,
	"ibm850":     charmap.CodePage850,
}

var marks = []struct{ mark, encoding string }{
	{"\xEF\xBB\xBF", encodingUTF8},
	{"\xFF\xFE", encoding16LE},
	{"\xFE\xFF", encoding16BE},
}

func checkEncoding(name string) (string, error) {
	lower := strings.ToLower(strings.TrimSpace(name))
	if lower == "" {
		return encodingAuto, nil
	}
	if _, ok := encodings[lower]; !ok {
		known := slices.Sorted(maps.Keys(encodings))
		return "", fmt.Errorf("encoding %q is not known; write one of %s", shorten(name), strings.Join(known, ", "))
	}
	return lower, nil
}

// decoder hands on a file's text as valid UTF-8 without a byte order mark, a block at a time.
//
// In automatic mode a file is UTF-8 or Windows-1252 by its first character outside ASCII, which
// decides alike however the bytes arrive: until then both encodings read the same, and a letter
// with an accent in Windows-1252 hardly ever begins a valid UTF-8 sequence. A file that has shown
// itself to be UTF-8 and later is not, is refused rather than read as a mixture.
type decoder struct {
	src      io.Reader
	encoding string // as far as it is known
	undecided,
	strict bool // strict: bytes are checked to be UTF-8; otherwise src already gives UTF-8

	block []byte
	out   []byte // checked, to be handed out
	rest  []byte // read, but the sequence at its start is not complete
	err   error
}

// newDecoder looks at the first bytes of r and settles how to read it. A byte order mark that
// contradicts the encoding named is an error.
func newDecoder(r io.Reader, name string) (*decoder, error) {
	var head [3]byte
	n, err := io.ReadFull(r, head[:])
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return nil, err
	}
	start := head[:n]
	marked := ""
	for _, m := range marks {
		if marked == "" && bytes.HasPrefix(start, []byte(m.mark)) {
			marked, start = m.encoding, start[len(m.mark):]
		}
	}
	fits := name == encodingAuto || name == marked || (name == encoding16 && marked != encodingUTF8)
	switch {
	case marked != "" && !fits:
		return nil, fmt.Errorf("the file begins with the byte order mark of %s, but the profile says %s", marked, name)
	case marked != "":
		name = marked
	}
	d := &decoder{src: io.MultiReader(bytes.NewReader(start), r), encoding: name}
	switch name {
	case encodingAuto:
		d.encoding, d.undecided, d.strict = encodingUTF8, true, true
	case encodingUTF8:
		d.strict = true
	default:
		d.src = transform.NewReader(d.src, encodings[name].NewDecoder())
	}
	return d, nil
}

// Read gives UTF-8.
func (d *decoder) Read(p []byte) (int, error) {
	if len(d.out) == 0 && d.strict {
		if d.err != nil {
			return 0, d.err
		}
		d.check()
	}
	switch {
	case len(d.out) > 0:
		n := copy(p, d.out)
		d.out = d.out[n:]
		return n, nil
	case d.strict:
		return 0, d.err
	default:
		return d.src.Read(p)
	}
}

// check reads a block and lets through what is valid.
func (d *decoder) check() {
	if d.block == nil {
		d.block = make([]byte, firstBuffer)
	}
	kept := copy(d.block, d.rest)
	n, err := d.src.Read(d.block[kept:])
	text := d.block[:kept+n]
	d.rest, d.err = nil, err

	from := 0
	if d.undecided {
		if from = asciiPrefix(text); from == len(text) {
			d.out = text
			return
		}
	}
	if utf8.Valid(text[from:]) {
		d.out, d.undecided = text, false
		return
	}
	at := from
	for at < len(text) {
		r, size := utf8.DecodeRune(text[at:])
		if r == utf8.RuneError && size <= 1 {
			break
		}
		if size > 1 {
			d.undecided = false
		}
		at += size
	}
	d.out = text[:at]
	switch {
	case err == nil && !utf8.FullRune(text[at:]):
		d.rest = text[at:]
	case d.undecided:
		d.undecided, d.strict, d.encoding = false, false, encoding1252
		// The block is not filled again from here on, so its tail may be read where it lies.
		tail := io.MultiReader(bytes.NewReader(text[at:]), &afterwards{d.src, err})
		d.src, d.err = transform.NewReader(tail, charmap.Windows1252.NewDecoder()), nil
	default:
		d.err = fmt.Errorf("byte 0x%02X is not valid UTF-8; name the file's encoding in the profile", text[at])
	}
}

// afterwards reads on, unless the reader has already ended.
type afterwards struct {
	src   io.Reader
	ended error
}

func (a *afterwards) Read(p []byte) (int, error) {
	if a.ended != nil {
		return 0, a.ended
	}
	return a.src.Read(p)
}

// asciiPrefix returns how many bytes at the start of b are ASCII, looking at eight at a time.
func asciiPrefix(b []byte) int {
	n := 0
	for len(b)-n >= 8 && binary.LittleEndian.Uint64(b[n:])&0x8080808080808080 == 0 {
		n += 8
	}
	for n < len(b) && b[n] < utf8.RuneSelf {
		n++
	}
	return n
}

// Progress returns a reader that tells after each read how many bytes r has given so far, for a
// progress bar over a file whose size is known. Put it under Open, where bytes are those of the
// file and not of the decoded text.
func Progress(r io.Reader, tell func(bytesRead int64)) io.Reader {
	return &progress{src: r, tell: tell}
}

type progress struct {
	src  io.Reader
	read int64
	tell func(int64)
}

func (p *progress) Read(b []byte) (int, error) {
	n, err := p.src.Read(b)
	if n > 0 {
		p.read += int64(n)
		p.tell(p.read)
	}
	return n, err
}
