package kit

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
)

// JSON answers a script.
func (x *Exchange) JSON(status int, body any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	x.Answer(status, "application/json", text)
	return nil
}

// Answer writes a whole answer. A browser that has gone is no fault of ours: it asks again, or nobody
// waits any more.
func (x *Exchange) Answer(status int, kind string, content []byte) {
	h := x.W.Header()
	h.Set("Content-Type", kind)
	if len(content) >= worthPacking {
		h.Add("Vary", "Accept-Encoding")
		if packs(x.R) && h.Get("Content-Encoding") == "" {
			h.Set("Content-Encoding", "gzip")
			content = pack(content, gzip.DefaultCompression)
		}
	}
	h.Set("Content-Length", strconv.Itoa(len(content)))
	x.W.WriteHeader(status)
	x.W.Write(content) //nolint:errcheck // see above
}

// Redirect sends the browser on after a form.
func (x *Exchange) Redirect(path string) error {
	http.Redirect(x.W, x.R, x.Shell.URL(path), http.StatusSeeOther)
	return nil
}

// Named says under which name the answer is kept.
func (x *Exchange) Named(name string) {
	x.W.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name}))
}

// Download answers with a small file to keep.
func (x *Exchange) Download(name, kind string, content []byte) error {
	x.Named(name)
	x.Answer(http.StatusOK, kind, content)
	return nil
}

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
