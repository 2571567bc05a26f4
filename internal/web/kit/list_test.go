package kit

import (
	"bytes"
	"strings"
	"testing"
)

// A list with what an older record holds is still had as a file.
func TestListsTakeOldTexts(t *testing.T) {
	t.Parallel()
	for _, format := range []string{CSV, XLSX} {
		var b bytes.Buffer
		err := WriteList(&b, format, "records", Columns("note"), func(write func(...string) error) error {
			return write("a\x00b\x1b[2J\xff")
		})
		if err != nil {
			t.Errorf("%s: %v", format, err)
		}
		if format == CSV && !strings.Contains(b.String(), `a\u0000b\u001b[2J`) {
			t.Errorf("%s: %q", format, b.String())
		}
	}
}
