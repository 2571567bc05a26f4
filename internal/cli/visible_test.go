package cli

import (
	"errors"
	"strings"
	"testing"
	"time"
)

// A record of an older program may hold what a terminal obeys. No way of printing hands it on.
func TestNoOutputCommandsATerminal(t *testing.T) {
	t.Parallel()
	const hostile = "\x1b[2J\x1b[1;1H✓ READY\x00\u009b\u202e"
	var out, talk strings.Builder
	a := newApp(Streams{In: strings.NewReader(""), Out: &out, Err: &talk}, time.Now)
	a.printTable([]string{"scope", "note"}, [][]string{{"D-01", hostile}})
	a.heading("%s", hostile)
	if err := a.printJSON(map[string]string{"note": hostile}); err != nil {
		t.Error(err)
	}
	if err := a.printRows(output{csv: true}, []string{"scope", "note"}, [][]string{{"D-01", hostile}}); err != nil {
		t.Errorf("as CSV: %v", err)
	}
	a.report(errors.New(hostile))
	a.json = true
	a.report(errors.New(hostile))
	for _, said := range []string{out.String(), talk.String()} {
		if strings.ContainsAny(said, "\x1b\x00\u009b\u202e") {
			t.Errorf("a terminal would obey %q", said)
		}
		if strings.Count(said, `\u001b[2J`) < 2 {
			t.Errorf("what was stored is not shown: %q", said)
		}
	}
}
