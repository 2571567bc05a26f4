package record

import (
	"encoding/json"
	"fmt"
	"strings"
	"unicode/utf8"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
)

// MaxText is how many characters a text may have that is not a whole file.
const MaxText = 2000

// CheckText refuses texts that would harm whoever reads them later: control characters and those that turn
// the direction of writing, characters that nobody sees in what is not free text, texts that are not UTF-8, too
// long, or there and yet blank. body is the JSON of the
// body in the version that this program writes.
func CheckText(kind Kind, body json.RawMessage, by, device, reason string) error {
	for i, f := range [...]struct{ label, value string }{{"the reason", reason}, {"the person", by}, {"the device", device}} {
		problem := flaw(f.value, OneLine)
		if problem == "" && i > 0 {
			problem = mistaken(f.value)
		}
		if problem != "" {
			return refused(kind, f.label, problem)
		}
	}
	if harmless(body) && !ledger.MayCommit(body) {
		return nil
	}
	d, ok := byKind[kind]
	if !ok {
		return nil // Place says so
	}
	var value any
	if err := json.Unmarshal(body, &value); err != nil {
		return err
	}
	return d.checkText(value, "")
}

func refused(kind Kind, label, problem string) error {
	hint := "type the text anew instead of pasting it"
	if strings.HasPrefix(problem, "has ") {
		hint = "shorten it; a longer text can be attached as a document"
	}
	return &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("%s: %s %s", kind, label, problem), Hint: hint}
}

// harmless says of most bodies at a glance that there is nothing to look for: all of it is printable ASCII
// without an escape, and shorter than one text may be.
func harmless(body []byte) bool {
	if len(body) > MaxText {
		return false
	}
	for i, b := range body {
		if b < ' ' || b >= 0x7f || b == '\\' || b == ' ' && i > 0 && body[i-1] == '"' { // it may be blank
			return false
		}
	}
	return true
}

// checkText walks through a body; name is that of the field in JSON.
func (d *Descriptor) checkText(value any, name string) error {
	switch value := value.(type) {
	case string:
		f := d.field(name)
		problem := flaw(value, f.Text)
		if problem == "" && !f.Free {
			problem = mistaken(value)
		}
		if problem != "" {
			return refused(d.Kind, d.called(name), problem)
		}
	case []any:
		for _, v := range value {
			if err := d.checkText(v, name+"[]"); err != nil {
				return err
			}
		}
	case map[string]any:
		for key, v := range value {
			if problem := flaw(key, OneLine); problem != "" {
				return refused(d.Kind, "the name of a field", problem)
			}
			inner := key
			if name != "" {
				inner = name + "." + key
			}
			if err := d.checkText(v, inner); err != nil {
				return err
			}
		}
	}
	return nil
}

// field returns what is said of a field, nothing where it is not declared.
func (d *Descriptor) field(name string) Field {
	for _, f := range d.Fields {
		if f.Name == name {
			return f
		}
	}
	return Field{}
}

// mistaken says of a text that stays in the ledger, such as a code, that it would be read as a commitment to
// another one, or as the code of something else.
func mistaken(s string) string {
	if ledger.IsCommitment(s) {
		return "looks like what the ledger holds in place of a free text"
	}
	for _, r := range s {
		if text.Unseen(r) {
			return fmt.Sprintf("holds U+%04X, which nobody sees", r)
		}
	}
	return ""
}

// called returns what people call a field, or the nearest one around it that has a name.
func (d *Descriptor) called(name string) string {
	for of := name; of != ""; {
		for _, f := range d.Fields {
			if f.Name == of {
				return fmt.Sprintf("the field %q", f.Label)
			}
		}
		if item, ok := strings.CutSuffix(of, "[]"); ok {
			of = item
			continue
		}
		of = of[:max(0, strings.LastIndexByte(of, '.'))]
	}
	return fmt.Sprintf("the field %q", name)
}

// flaw says what is wrong with a text, empty when nothing is.
func flaw(s string, may Text) string {
	if !utf8.ValidString(s) {
		return "is not UTF-8"
	}
	if may != WholeFile && len(s) > MaxText {
		if n := utf8.RuneCountInString(s); n > MaxText {
			return fmt.Sprintf("has %d characters, %d at most are possible", n, MaxText)
		}
	}
	if may != WholeFile && text.Blank(s) {
		return "is blank"
	}
	for _, r := range s {
		switch {
		case r == '\n' && may == OneLine:
			return "has several lines, only one is possible"
		case r == '\n', r == '\t' && may != OneLine, r == '\r' && may == WholeFile:
		case text.Control(r):
			return fmt.Sprintf("holds the control character U+%04X", r)
		case text.Turns(r):
			return fmt.Sprintf("holds U+%04X, which turns the direction of writing", r)
		case text.Breaks(r):
			return fmt.Sprintf("holds U+%04X, which breaks lines unseen", r)
		case text.Hides(r) && may != WholeFile: // a file may begin with the mark of its encoding
			return fmt.Sprintf("holds U+%04X, which nobody sees", r)
		case r == utf8.RuneError:
			return "holds U+FFFD, which stands for a character that was lost"
		}
	}
	return ""
}
