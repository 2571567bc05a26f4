package main

import (
	"bytes"
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"rinsate/internal/domain/policy"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"rinsate": played})
}

// TestScripts runs each command as a person would. The example files of the repository are in
// $EXAMPLES.
func TestScripts(t *testing.T) {
	examples, err := filepath.Abs("../../examples")
	if err != nil {
		t.Fatal(err)
	}
	now, zone := orUsual(os.Getenv(nowEnv), usualNow), orUsual(os.Getenv(zoneEnv), "UTC")
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		UpdateScripts:       os.Getenv("UPDATE_SCRIPTS") != "",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("EXAMPLES", examples)
			e.Setenv("RINSATE_DATA", filepath.Join(e.WorkDir, "data"))
			return setClock(e, now, zone)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits, "note2openssl": note2openssl, "rows": rows, "longline": longline,
		},
	})
}

// TestExampleRulesAreThePreset keeps the example in step with what the program ships.
func TestExampleRulesAreThePreset(t *testing.T) {
	example, err := os.ReadFile("../../examples/rules.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(example, policy.Preset()) {
		t.Error("examples/rules.yaml differs from the preset: rinsate rules show > examples/rules.yaml")
	}
}

// exits runs a command and compares its exit code: exits CODE COMMAND ARGS...
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND ARGS...")
	}
	err := ts.Exec(args[1], args[2:]...)
	code := "0"
	if err != nil {
		code = strings.TrimPrefix(err.Error(), "exit status ")
	}
	if code != args[0] {
		ts.Fatalf("exit code %s, want %s", code, args[0])
	}
}

// note2openssl takes a signed checkpoint and a public key apart into the files that openssl reads,
// with nothing but base64 and the layout of C2SP signed notes: note2openssl NOTE VKEY.
func note2openssl(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: note2openssl NOTE VKEY")
	}
	note := ts.ReadFile(args[0])
	text, signatures, found := strings.Cut(note, "\n\n")
	if !found {
		ts.Fatalf("no signature in %q", note)
	}
	fields := strings.Fields(signatures)
	signature, err := base64.StdEncoding.DecodeString(fields[len(fields)-1])
	ts.Check(err)
	vkey := strings.TrimSpace(ts.ReadFile(args[1]))
	parts := strings.SplitN(vkey, "+", 3)
	key, err := base64.StdEncoding.DecodeString(parts[2])
	ts.Check(err)
	if len(key) != 1+ed25519.PublicKeySize || key[0] != 1 {
		ts.Fatalf("not an Ed25519 key: %s", vkey)
	}
	der := append([]byte{0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00}, key[1:]...)
	for name, data := range map[string][]byte{"signed.txt": []byte(text + "\n"), "signature.bin": signature[4:], "key.der": der} {
		ts.Check(os.WriteFile(ts.MkAbs(name), data, 0o600))
	}
}

// rows repeats a line of a file: rows FILE HEADER LINE COUNT; %d in the line is the number.
func rows(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: rows FILE HEADER LINE COUNT")
	}
	var n int
	_, err := fmt.Sscan(args[3], &n)
	ts.Check(err)
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	fmt.Fprintln(f, args[1])
	for i := range n {
		fmt.Fprintln(f, strings.ReplaceAll(args[2], "%d", fmt.Sprint(i)))
	}
	ts.Check(f.Close())
}

// longline writes a file of one line of so many megabytes: longline FILE MEGABYTES.
func longline(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: longline FILE MEGABYTES")
	}
	var n int
	_, err := fmt.Sscan(args[1], &n)
	ts.Check(err)
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	block := strings.Repeat("x", 1<<20)
	for range n {
		_, err := f.WriteString(block)
		ts.Check(err)
	}
	ts.Check(f.Close())
}
