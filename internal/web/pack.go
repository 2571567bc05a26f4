package web

import (
	"bytes"
	"compress/gzip"
	"net/http"
	"slices"
	"strings"
)

// worthPacking is the size in bytes from which an answer is compressed: below it the gain is less than a
// packet of the network.
const worthPacking = 1400

// packs says whether a browser takes gzip. What is secret is in cookies and never beside something that a
// stranger chose on a page, so that sizes betray nothing (BREACH).
func packs(r *http.Request) bool {
	for part := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		name, quality, _ := strings.Cut(strings.TrimSpace(part), ";")
		if name == "gzip" && !slices.Contains([]string{"q=0", "q=0.0", "q=0.00", "q=0.000"}, strings.TrimSpace(quality)) {
			return true
		}
	}
	return false
}

// pack compresses.
func pack(content []byte, level int) []byte {
	var b bytes.Buffer
	w, err := gzip.NewWriterLevel(&b, level)
	if err != nil {
		panic(err) // the level is a constant
	}
	w.Write(content) //nolint:errcheck // into memory
	w.Close()        //nolint:errcheck // into memory
	return b.Bytes()
}
