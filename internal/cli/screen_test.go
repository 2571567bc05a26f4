package cli

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

// An argument that holds what a terminal would obey comes back in the message as text.
func TestMessagesCannotAct(t *testing.T) {
	t.Parallel()
	var out, talk bytes.Buffer
	clock := func() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) }
	for _, args := range [][]string{{"rules", "check", "\x1b[2J\u202eREADY"}, {"--json", "rules", "check", "\x1b[2J\u202eREADY"}} {
		out.Reset()
		talk.Reset()
		if code := Run(t.Context(), args, Streams{In: strings.NewReader(""), Out: &out, Err: &talk}, clock); code == exitDone {
			t.Errorf("%q: exit code %d", args, code)
		}
		if text := out.String() + talk.String(); strings.ContainsAny(text, "\x1b\u202e") || !strings.Contains(text, `\u001b[2J`) {
			t.Errorf("%q prints %q", args, text)
		}
	}
}
