package table

import "io"

// What the tests look at and nobody else has to.

// NewTokenizer returns a tokenizer whose delimiter is given and not found.
func NewTokenizer(name string, r io.Reader, delimiter byte, maxRecord int) *Tokenizer {
	t := newTokenizer(name, r, maxRecord)
	t.delimit(delimiter)
	return t
}

// Encoding returns how the text is being decoded, as far as that is known.
func (t *Table) Encoding() string { return t.decoder.encoding }

// Delimiter returns the delimiter that the profile names or that was found.
func (t *Table) Delimiter() byte { return t.tok.delim }

// Present says whether the file has this column, or the profile a constant for it.
func (c Column) Present() bool { return c.c.index >= 0 || c.c.constant != nil }

// Header returns the header as it stands in the file, or how a constant is shown in errors.
func (c Column) Header() string { return c.c.header }
