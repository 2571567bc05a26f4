package ledger

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"rinsate/internal/base/unit"
)

const (
	// Version is the format version that Encode writes.
	Version = 1

	// maxBodyVersion bounds what no body will ever reach.
	maxBodyVersion = 9999

	// MaxRecord is the largest record in bytes; entry bundles prefix a record with a uint16.
	MaxRecord = 65535

	// TypeClock is the type of a record that notices that the computer's clock was set back. It is
	// the only one whose Recorded may be earlier than that of the record before it.
	TypeClock = "clock"
)

// Record is one entry of a site's ledger. doc.go tells its bytes.
type Record struct {
	V        int             `json:"v"`                  // format version, 1
	Seq      int64           `json:"seq"`                // place in the ledger, from 0 without gaps
	Type     string          `json:"type"`               // what happened: reading, hold, clock …
	ID       ID              `json:"id"`                 // the record's own name
	Site     string          `json:"site"`               // the site whose ledger this is
	At       unit.Instant    `json:"at"`                 // when it happened, as claimed
	Recorded unit.Instant    `json:"recorded"`           // when it was written here
	By       string          `json:"by"`                 // code of the person, empty if none acted
	Device   string          `json:"device,omitempty"`   // the device it came from
	Because  []ID            `json:"because,omitempty"`  // the records it follows from
	Corrects ID              `json:"corrects,omitempty"` // the record it corrects or voids
	Reason   string          `json:"reason,omitempty"`   // why; required with Corrects
	Body     json.RawMessage `json:"body"`               // a JSON object, numbers whole
	// BodyVersion is the version of what the body holds, for its type; 0 stands for the first.
	BodyVersion int `json:"body_v,omitempty"`
}

// Encode returns the canonical bytes of r, those that are hashed, stored and exported; the body
// may come in any order and spacing. It refuses a record that breaks a rule of the format and says
// which: the error names the field, and within the body the path.
func Encode(r Record) ([]byte, error) {
	b, err := encode(r)
	if err != nil {
		return nil, fmt.Errorf("record %d %q: %w", r.Seq, r.Type, err)
	}
	return b, nil
}

func encode(r Record) ([]byte, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	b := make([]byte, 0, 320+39*len(r.Because)+len(r.Reason)+len(r.Device)+len(r.Body))
	b = strconv.AppendInt(append(b, `{"at":`...), int64(r.At), 10)
	if len(r.Because) > 0 {
		b = append(b, `,"because":[`...)
		for i, id := range r.Because {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendText(b, id)
		}
		b = append(b, ']')
	}
	b = append(b, `,"body":`...)
	start := len(b)
	b, err := appendCanonical(b, r.Body, "body")
	if err != nil {
		return nil, err
	}
	if b[start] != '{' {
		return nil, fmt.Errorf("body is not a JSON object")
	}
	if r.BodyVersion != 0 {
		b = strconv.AppendInt(append(b, `,"body_v":`...), int64(r.BodyVersion), 10)
	}
	b = appendText(append(b, `,"by":`...), r.By)
	if r.Corrects != "" {
		b = appendText(append(b, `,"corrects":`...), r.Corrects)
	}
	if r.Device != "" {
		b = appendText(append(b, `,"device":`...), r.Device)
	}
	b = appendText(append(b, `,"id":`...), r.ID)
	if r.Reason != "" {
		b = appendText(append(b, `,"reason":`...), r.Reason)
	}
	b = strconv.AppendInt(append(b, `,"recorded":`...), int64(r.Recorded), 10)
	b = strconv.AppendInt(append(b, `,"seq":`...), r.Seq, 10)
	b = appendText(append(b, `,"site":`...), r.Site)
	b = appendText(append(b, `,"type":`...), r.Type)
	b = append(b, `,"v":1}`...)
	if len(b) > MaxRecord {
		return nil, fmt.Errorf("the record is %d bytes long, the limit is %d", len(b), MaxRecord)
	}
	return b, nil
}

func (r *Record) check() error {
	switch {
	case r.V != Version:
		return fmt.Errorf("v is %d, this program writes version %d", r.V, Version)
	case r.BodyVersion < 0 || r.BodyVersion == 1 || r.BodyVersion > maxBodyVersion:
		return fmt.Errorf("body_v is %d, expected 2 to %d; the first version is not written", r.BodyVersion, maxBodyVersion)
	case r.Seq < 0 || r.Seq > maxInteger:
		return fmt.Errorf("seq %d is outside 0 to 2^53-1", r.Seq)
	case !r.ID.proper():
		return fmt.Errorf("id %q is not a UUID of version 7 or 8 in lower case", r.ID)
	case r.At <= 0 || r.At > maxInteger:
		return fmt.Errorf("at is %d, expected microseconds since 1970 below 2^53", r.At)
	case r.Recorded <= 0 || r.Recorded > maxInteger:
		return fmt.Errorf("recorded is %d, expected microseconds since 1970 below 2^53", r.Recorded)
	case r.Corrects != "" && !r.Corrects.proper():
		return fmt.Errorf("corrects %q is not a UUID of version 7 or 8 in lower case", r.Corrects)
	case r.Corrects != "" && r.Reason == "":
		return fmt.Errorf("corrects another record without a reason")
	}
	for i, id := range r.Because {
		if !id.proper() {
			return fmt.Errorf("because[%d] %q is not a UUID of version 7 or 8 in lower case", i, id)
		}
	}
	for _, f := range [...]struct{ name, value string }{{"type", r.Type}, {"site", r.Site}} {
		if f.value == "" || strings.ContainsFunc(f.value, awkward) {
			return fmt.Errorf("%s %q is empty or holds a quote, a backslash or a control character", f.name, f.value)
		}
	}
	for _, f := range [...]struct{ name, value string }{
		{"type", r.Type},
		{"site", r.Site},
		{"by", r.By},
		{"device", r.Device},
		{"reason", r.Reason},
	} {
		if !utf8.ValidString(f.value) {
			return fmt.Errorf("%s %q is not UTF-8", f.name, f.value)
		}
	}
	return nil
}

// awkward characters would need an escape in JSON; without them Tail finds type and site by their
// quotes alone.
func awkward(r rune) bool { return r < ' ' || r == '"' || r == '\\' }

// Decode reads canonical bytes and nothing else: unknown, repeated or misplaced fields, spaces,
// other escapes and every rule that Encode enforces are errors, so Encode of the result gives b.
func Decode(b []byte) (Record, error) {
	if len(b) > MaxRecord {
		return Record{}, fmt.Errorf("the record is %d bytes long, the limit is %d", len(b), MaxRecord)
	}
	var r Record
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&r); err != nil {
		return Record{}, fmt.Errorf("not a record: %w", err)
	}
	again, err := Encode(r)
	if err != nil {
		return Record{}, err
	}
	if !bytes.Equal(b, again) {
		at := 0
		for at < min(len(b), len(again)) && b[at] == again[at] {
			at++
		}
		return Record{}, fmt.Errorf("record %d %q: not in canonical form (RFC 8785) from byte %d on", r.Seq, r.Type, at)
	}
	return r, nil
}

// Ending is what Tail reads.
type Ending struct {
	Seq        int64
	ID         ID
	Recorded   unit.Instant
	Site, Type string
}

// Tail reads a record's ending without parsing the rest, for bulk verification, where the hash
// already vouches for the bytes. It relies on the canonical order of keys and allocates two short
// texts and an id; it does not replace Decode for bytes that nothing vouches for.
func Tail(b []byte) (Ending, error) {
	e, ok := readEnding(b)
	if !ok {
		return Ending{}, fmt.Errorf("the bytes do not end like a record of version %d", Version)
	}
	return Ending{e.seq, ID(e.id), e.recorded, string(e.site), string(e.kind)}, nil
}

// ending holds the fields of an Ending as slices of the record, so that reading it allocates
// nothing.
type ending struct {
	seq            int64
	recorded       unit.Instant
	id, site, kind []byte
}

// readEnding walks backwards from the last byte. Type and site hold no quotes, an id has a fixed
// length, and no string inside JSON can hold the bytes ," unescaped, so that a field found this way
// is the envelope's own.
func readEnding(b []byte) (e ending, ok bool) {
	if b, ok = bytes.CutSuffix(b, []byte(`","v":1}`)); !ok {
		return e, false
	}
	if b, e.kind, ok = cutField(b, bytes.LastIndexByte(b, '"')+1, `","type":"`); !ok {
		return e, false
	}
	if b, e.site, ok = cutField(b, bytes.LastIndexByte(b, '"')+1, `,"site":"`); !ok {
		return e, false
	}
	if b, e.seq, ok = cutNumber(b, `,"seq":`); !ok {
		return e, false
	}
	var recorded int64
	if b, recorded, ok = cutNumber(b, `","recorded":`); !ok {
		return e, false
	}
	e.recorded = unit.Instant(recorded)
	if _, e.id, ok = cutField(b, len(b)-36, `,"id":"`); ok {
		return e, true
	}
	const reason = `","reason":"`
	at := bytes.LastIndex(b, []byte(reason))
	if at < 0 {
		return e, false
	}
	_, e.id, ok = cutField(b[:at], at-36, `,"id":"`)
	return e, ok
}

// cutField cuts the value that begins at from and the key before it off the end of b.
func cutField(b []byte, from int, key string) (rest, value []byte, ok bool) {
	start := from - len(key)
	if start < 0 || string(b[start:from]) != key {
		return nil, nil, false
	}
	return b[:start], b[from:], true
}

func cutNumber(b []byte, key string) (rest []byte, n int64, ok bool) {
	from := len(b)
	for from > 0 && b[from-1] >= '0' && b[from-1] <= '9' {
		from--
	}
	rest, digits, ok := cutField(b, from, key)
	if ok {
		n, ok = parseDigits(digits)
	}
	return rest, n, ok
}

// parseDigits reads a number that consists of digits only.
func parseDigits(b []byte) (n int64, ok bool) {
	if len(b) == 0 || len(b) > 16 || b[0] == '0' && len(b) > 1 {
		return 0, false
	}
	for _, c := range b {
		n = n*10 + int64(c-'0')
	}
	return n, n <= maxInteger
}
