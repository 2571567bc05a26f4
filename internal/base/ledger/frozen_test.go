package ledger_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"rinsate/internal/base/ledger"
)

var update = flag.Bool("update", false, "write testdata/v1 anew")

// A log of format version 1 must verify for ever. Its files are never written again once released;
// a change of this test that needs -update is a change of the format.
func TestFrozenLogVerifies(t *testing.T) {
	dir := filepath.Join("testdata", "v1")
	if *update {
		writeFrozen(t, dir)
	}
	read := func(name string) []byte {
		t.Helper()
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	vkey := strings.TrimSpace(string(read("vkey")))
	export := os.DirFS(filepath.Join(dir, "export"))
	report, err := ledger.VerifyExport(export, []string{vkey}, read("checkpoint-7"), read("checkpoint-200"))
	if err != nil || report.Size != 260 || report.Verified != 260 || report.Site != "site-a" ||
		report.Root.String() != frozenRoot {
		t.Errorf("%+v, %v", report, err)
	}
	c, err := ledger.VerifyProof(read("14.tlog-proof"), read("14.json"), []string{vkey})
	if err != nil || c.Size != 260 {
		t.Errorf("proof: %v, %v", c, err)
	}
	// What is written today is what was written then.
	b, err := ledger.Encode(record(14))
	if err != nil || string(b) != string(read("14.json")) {
		t.Errorf("record 14 is now %s, %v", b, err)
	}
	if got := string(newLog(t, 260).signed(t, 260)); got != string(read("export/checkpoint")) {
		t.Errorf("the checkpoint is now %s", got)
	}
}

const frozenRoot = "EkhYp88tCTAb6Kq4mY5wlU2CzHiy4WRbH2yNUpKfIa4="

func writeFrozen(t *testing.T, dir string) {
	t.Helper()
	write := func(name string, data []byte) error {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		return os.WriteFile(path, data, 0o644)
	}
	l := newLog(t, 260)
	key := []string{signer(t).VKey()}
	err := ledger.Export(func(name string, data []byte) error { return write("export/"+name, data) }, l.signed(t, 260), key, l.records(260))
	if err != nil {
		t.Fatal(err)
	}
	p, err := ledger.Prove(14, l.signed(t, 260), key, l.reader())
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{
		"vkey":           []byte(key[0] + "\n"),
		"checkpoint-7":   l.signed(t, 7),
		"checkpoint-200": l.signed(t, 200),
		"14.json":        l.rows[14].Record,
		"14.tlog-proof":  p.Text(),
	} {
		if err := write(name, data); err != nil {
			t.Fatal(err)
		}
	}
}
