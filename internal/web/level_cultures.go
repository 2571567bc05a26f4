package web

import (
	"bytes"
	"compress/flate"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"io"
	"net/http"
	"slices"
	"strings"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/web/kit"
	"rinsate/internal/wire/table"
)

// Cultures are stored with a level that is adopted and nowhere before. Until then they travel in the
// address of the page, packed: which scopes there are, and for each culture the number of its scope, the
// time since the one before it, and whether it was positive.

// mostPacked bounds the cultures in an address, since browsers and proxies bound addresses.
const mostPacked = 6000

// mostCultures bounds how many a page takes.
const mostCultures = 5000

// packedSteps are the units of time that packed cultures may count in: the largest one that fits all.
var packedSteps = []unit.Instant{60_000_000, 1_000_000, 1}

func packCultures(all []desk.Culture) string {
	var tags []string
	step := 0
	for _, c := range all {
		if !slices.Contains(tags, c.Scope) {
			tags = append(tags, c.Scope)
		}
		for c.Taken%packedSteps[step] != 0 {
			step++
		}
	}
	b := binary.AppendUvarint(nil, uint64(step)) //nolint:gosec // an index
	b = binary.AppendUvarint(b, uint64(len(tags)))
	for _, t := range tags {
		b = binary.AppendUvarint(b, uint64(len(t)))
		b = append(b, t...)
	}
	var last int64
	for _, c := range all {
		number := uint64(slices.Index(tags, c.Scope)) << 1 //nolint:gosec // an index
		if c.Positive {
			number |= 1
		}
		at := int64(c.Taken / packedSteps[step])
		b = binary.AppendVarint(binary.AppendUvarint(b, number), at-last)
		last = at
	}
	var packed bytes.Buffer
	w, err := flate.NewWriter(&packed, flate.BestCompression)
	if err != nil {
		panic(err) // the grade is a constant
	}
	w.Write(b) //nolint:errcheck // into memory
	w.Close()  //nolint:errcheck // into memory
	return base64.RawURLEncoding.EncodeToString(packed.Bytes())
}

var errPacked = errors.New("the cultures in the address are not whole")

// unpackCultures returns what packCultures packed; none for an empty text.
func unpackCultures(text string) ([]desk.Culture, error) {
	if text == "" {
		return nil, nil
	}
	packed, err := base64.RawURLEncoding.DecodeString(text)
	if err != nil || len(text) > mostPacked {
		return nil, errPacked
	}
	const most = 1 << 18 // of what so short a text can hold, against bombs
	b, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(packed)), most))
	if err != nil || len(b) == most {
		return nil, errPacked
	}
	r := bytes.NewReader(b)
	next := func() uint64 {
		n, failed := binary.ReadUvarint(r)
		err = errors.Join(err, failed)
		return n
	}
	step := next()
	if err != nil || step >= uint64(len(packedSteps)) {
		return nil, errPacked
	}
	var tags []string
	for range min(next(), most) {
		tag := make([]byte, min(next(), uint64(r.Len()))) //nolint:gosec // not negative
		_, failed := io.ReadFull(r, tag)
		if err = errors.Join(err, failed); err != nil {
			return nil, errPacked
		}
		tags = append(tags, string(tag))
	}
	var all []desk.Culture
	var at int64
	for r.Len() > 0 {
		number := next()
		since, failed := binary.ReadVarint(r)
		if err != nil || failed != nil || number>>1 >= uint64(len(tags)) {
			return nil, errPacked
		}
		if at += since; len(all) == mostCultures {
			return nil, errPacked
		}
		all = append(all, desk.Culture{Scope: tags[number>>1], Taken: unit.Instant(at) * packedSteps[step], Positive: number&1 == 1})
	}
	return all, nil
}

// cultures returns the cultures that a page is asked about.
func (q asked) cultures() ([]desk.Culture, error) {
	all, err := unpackCultures(q.get("cultures"))
	if err != nil {
		return nil, &kit.PageError{Status: http.StatusBadRequest, Message: kit.Sentence(err.Error()), Hint: "Give the file again."}
	}
	return all, nil
}

// cultureLimit bounds a form with a file of cultures.
const cultureLimit = 256 << 10

// readCultures reads the text that was pasted or, when there is none, the file that was sent.
func readCultures(x *kit.Exchange, text string) ([]desk.Culture, error) {
	var from io.Reader = strings.NewReader(text)
	name := "cultures"
	if strings.TrimSpace(text) == "" {
		file, header, err := x.R.FormFile("file")
		if err != nil {
			return nil, mistyped("Paste the cultures or choose a file.")
		}
		defer file.Close() //nolint:errcheck // only read
		from, name = file, header.Filename
	}
	t, err := table.Open(name, from, table.Profile{}, desk.CultureColumns())
	if err == nil {
		var all []desk.Culture
		if all, err = desk.ReadCultures(t); err == nil && len(all) == 0 {
			return nil, mistyped("There is no culture in it, only the names of the columns.")
		} else if err == nil {
			return all, nil
		}
	}
	return nil, mistyped("%s", kit.Sentence(strings.ReplaceAll(err.Error(), "\n", "; ")))
}
