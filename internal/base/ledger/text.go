package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strconv"
	"strings"
)

const (
	// textPrefix begins what stands in a record for a text that is kept elsewhere.
	textPrefix = "sha256:"
	// TextSaltSize is the number of random bytes in the salt of a text.
	TextSaltSize = 2 * SaltSize
)

// CommitText returns what a record holds in place of a free text: "sha256:" and Commit of it.
func CommitText(salt []byte, text string) string { return textPrefix + Commit(salt, text) }

// CheckText says whether commitment is what CommitText gives for a text under a salt.
func CheckText(commitment string, salt []byte, text string) bool {
	digest, ok := strings.CutPrefix(commitment, textPrefix)
	return ok && CheckCommitment(digest, salt, text)
}

// IsCommitment says whether a text has the form of a commitment, which no other text of a record has.
func IsCommitment(s string) bool {
	digest, ok := strings.CutPrefix(s, textPrefix)
	return ok && len(digest) == 64 && strings.Trim(digest, "0123456789abcdef") == ""
}

// MayCommit says at a glance whether JSON may hold a commitment; of most records it says no.
func MayCommit(b []byte) bool { return bytes.Contains(b, []byte(`"`+textPrefix)) }

// Committed is a commitment in a record and where it stands: "reason", or "body" and the way into it, such
// as "body.note" and "body.round.points[2].not_applicable".
type Committed struct{ Field, Commitment string }

// Commitments returns the commitments in the bytes of a record.
func Commitments(record []byte) ([]Committed, error) {
	if !MayCommit(record) {
		return nil, nil
	}
	var r Record
	if err := json.Unmarshal(record, &r); err != nil {
		return nil, fmt.Errorf("not a record: %w", err)
	}
	var all []Committed
	_, err := r.WithTexts(func(field, commitment string) string {
		all = append(all, Committed{field, commitment})
		return commitment
	})
	return all, err
}

// WithTexts returns a record with what text gives in the place of each of its commitments.
func (r Record) WithTexts(text func(field, commitment string) string) (Record, error) {
	if IsCommitment(r.Reason) {
		r.Reason = text("reason", r.Reason)
	}
	if !MayCommit(r.Body) {
		return r, nil
	}
	body, err := Rewrite(r.Body, func(field, s string) string {
		if IsCommitment(s) {
			return text("body."+field, s)
		}
		return s
	})
	r.Body = body
	return r, err
}

// Rewrite returns the JSON of a body with what change gives in the place of each of its texts. A text within
// others is named by the way to it: "with.kit", "controls[0].lot".
func Rewrite(body []byte, change func(field, text string) string) ([]byte, error) {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, err
	}
	changed, err := json.Marshal(rewrite(v, "", change))
	if err != nil {
		return nil, err
	}
	return Canonical(changed)
}

func rewrite(v any, field string, change func(field, text string) string) any {
	switch v := v.(type) {
	case string:
		return change(field, v)
	case []any:
		for i, x := range v {
			v[i] = rewrite(x, field+"["+strconv.Itoa(i)+"]", change)
		}
	case map[string]any:
		for key, x := range v {
			inner := key
			if field != "" {
				inner = field + "." + key
			}
			v[key] = rewrite(x, inner, change)
		}
	}
	return v
}

// TextsFile is the file of an export that holds the free texts, where they are handed out with it: one
// TextLine in JSON a line, in the order of the records.
const TextsFile = "texts.jsonl"

// TextLine is a free text with its salt: its record commits to it at its field.
type TextLine struct {
	Seq   int64  `json:"seq"`
	Field string `json:"field"`
	Salt  []byte `json:"salt"`
	Text  string `json:"text"`
}

// readTexts reads the free texts beside an export of so many records, by their records; none when there is
// no such file.
func readTexts(fsys fs.FS, size int64) (map[int64][]TextLine, error) {
	data, err := fs.ReadFile(fsys, TextsFile)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	texts := map[int64][]TextLine{}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	for n := 1; ; n++ {
		var t TextLine
		err := d.Decode(&t)
		if errors.Is(err, io.EOF) {
			return texts, nil
		}
		if err != nil {
			return nil, fault(-1, "%s, text %d: %v", TextsFile, n, err)
		}
		if t.Seq < 0 || t.Seq >= size {
			return nil, fault(-1, "%s, text %d belongs to record %d, the log has %d", TextsFile, n, t.Seq, size)
		}
		texts[t.Seq] = append(texts[t.Seq], t)
	}
}

// checkTexts compares the free texts beside a record with its commitments.
func checkTexts(seq int64, record []byte, texts []TextLine) error {
	if len(texts) == 0 {
		return nil
	}
	all, err := Commitments(record)
	if err != nil {
		return err
	}
	want := map[string]string{}
	for _, c := range all {
		want[c.Field] = c.Commitment
	}
	for _, t := range texts {
		commitment, ok := want[t.Field]
		if !ok {
			return fault(seq, "%s holds a text %s of record %d to which that does not commit, or holds it twice", TextsFile, t.Field, seq)
		}
		if !CheckText(commitment, t.Salt, t.Text) {
			return fault(seq, "the text %s of record %d in %s is not the one that the record commits to", t.Field, seq, TextsFile)
		}
		delete(want, t.Field)
	}
	return nil
}
