package cli

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
)

// The list of accounts names every way to sign in, passkeys as well.
func TestUserListNamesPasskeys(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	run := func(args ...string) string {
		t.Helper()
		var out, errs bytes.Buffer
		code := Run(
			t.Context(),
			append([]string{"--data", data}, args...),
			Streams{In: strings.NewReader("crumb lantern oboe drift\n"), Out: &out, Err: &errs},
			clock,
		)
		if code != exitDone {
			t.Fatalf("%v: code %d, %s", args, code, errs.String())
		}
		return out.String()
	}
	run("init", "--site", "S1", "--name", "Test site", "--zone", "Europe/Berlin", "--rules", rulesFile(t), "--by", "A-01")
	run("user", "add", "A-01", "--name", "Robin Beispiel", "--roles", "administrator", "--by", "A-01", "--password-stdin")
	for i, want := range []string{"password ", "password, passkey ", "password, 2 passkeys "} {
		if got := run("user", "list"); !strings.Contains(got, want) {
			t.Errorf("with %d passkeys: want %q in\n%s", i, want, got)
		}
		db, err := sqlite.Folder(data).Open(t.Context(), clock)
		if err != nil {
			t.Fatal(err)
		}
		err = db.Write(t.Context(), func(tx *store.Tx) error {
			return tx.Access().
				AddPasskey(store.Passkey{ID: "key-" + string(rune('a'+i)), Code: "A-01", Name: "blue key", Host: "pc-7.example", Key: []byte{1}, Added: tx.Now})
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if got := run("user", "list", "--json"); !strings.Contains(got, `"passkeys": 3`) {
		t.Errorf("in JSON:\n%s", got)
	}
}
