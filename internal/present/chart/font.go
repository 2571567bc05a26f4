package chart

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"encoding/binary"
	"io"
	"sync"
)

// Inter, under the SIL Open Font License 1.1 (font/LICENSE.txt), packed, since the program is small only
// if its parts are.
var (
	//go:embed font/Inter-Regular.ttf.gz
	packedRegular []byte
	//go:embed font/Inter-SemiBold.ttf.gz
	packedSemiBold []byte
)

var (
	interRegular  = sync.OnceValue(func() []byte { return unpacked(packedRegular) })
	interSemiBold = sync.OnceValue(func() []byte { return unpacked(packedSemiBold) })

	regular  = sync.OnceValue(func() face { return parseFace(interRegular()) })
	semiBold = sync.OnceValue(func() face { return parseFace(interSemiBold()) })
)

// unpacked returns what was packed when the program was built.
func unpacked(packed []byte) []byte {
	r, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		panic(err) // embedded at build time
	}
	text, err := io.ReadAll(r)
	if err != nil {
		panic(err) // embedded at build time
	}
	return text
}

// face holds the advance widths of a font, as fractions of its size, by character.
type face map[rune]float64

// parseFace reads the tables head, hhea, hmtx and cmap (formats 4 and 12, Unicode) of a TrueType
// font. A table that is missing or cut off gives a face without characters.
//
// Source: ISO/IEC 14496-22 (OpenType), chapters on those tables.
func parseFace(ttf []byte) face {
	f := sfnt(ttf)
	head, hhea, hmtx := f.table("head"), f.table("hhea"), f.table("hmtx")
	em, metrics := head.u16(18), hhea.u16(34)
	if em == 0 || metrics == 0 {
		return face{}
	}
	widths := face{}
	f.table("cmap").each(func(char rune, glyph int) {
		// Glyphs past the last metric have the width of the last.
		widths[char] = float64(hmtx.u16(4*min(glyph, metrics-1))) / float64(em)
	})
	return widths
}

// sfnt is a font file or a table of one, read at offsets; outside of it all is 0.
type sfnt []byte

func (f sfnt) u16(at int) int {
	if at < 0 || at+2 > len(f) {
		return 0
	}
	return int(binary.BigEndian.Uint16(f[at:]))
}

func (f sfnt) u32(at int) int { return f.u16(at)<<16 | f.u16(at+2) }

func (f sfnt) from(at int) sfnt {
	if at < 0 || at > len(f) {
		return nil
	}
	return f[at:]
}

func (f sfnt) table(name string) sfnt {
	for i := range f.u16(4) {
		if entry := 12 + 16*i; entry+16 <= len(f) && string(f[entry:entry+4]) == name {
			return f.from(f.u32(entry + 8))
		}
	}
	return nil
}

// each calls yield for all characters of a cmap table and their glyphs.
func (f sfnt) each(yield func(char rune, glyph int)) {
	for i := range f.u16(2) {
		sub := f.from(f.u32(4 + 8*i + 4))
		switch sub.u16(0) {
		case 4:
			sub.eachFormat4(yield)
		case 12:
			sub.eachFormat12(yield)
		}
	}
}

func (f sfnt) eachFormat4(yield func(rune, int)) {
	segments := f.u16(6) / 2
	for i := range segments {
		end, start := f.u16(14+2*i), f.u16(16+2*segments+2*i)
		delta, offsetAt := f.u16(16+4*segments+2*i), 16+6*segments+2*i
		offset := f.u16(offsetAt)
		for char := start; char <= end && char != 0xffff; char++ {
			glyph := char + delta
			if offset != 0 {
				if glyph = f.u16(offsetAt + offset + 2*(char-start)); glyph != 0 {
					glyph += delta
				}
			}
			if glyph &= 0xffff; glyph != 0 {
				yield(rune(char), glyph)
			}
		}
	}
}

func (f sfnt) eachFormat12(yield func(rune, int)) {
	for i := range f.u32(12) {
		group := 16 + 12*i
		start, end, glyph := f.u32(group), f.u32(group+4), f.u32(group+8)
		if end > 0x10ffff {
			return
		}
		for char := start; char <= end; char++ {
			yield(rune(char), glyph+char-start)
		}
	}
}
