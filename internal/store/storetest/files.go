package storetest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/store"
)

func digestOf(content string) string {
	sum := sha256.Sum256([]byte(content))
	return hex.EncodeToString(sum[:])
}

// contentCount reads how many files are kept.
func contentCount(t *testing.T, e Engine, home store.Home) (n int) {
	t.Helper()
	if err := e.Raw(t, home).QueryRowContext(t.Context(), `SELECT count(*) FROM content`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// A file comes back as it was attached, and is kept once.
func files(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	kept := map[string]bool{}
	rapid.Check(t, func(rt *rapid.T) {
		content := rapid.SliceOfN(rapid.Byte(), 1, 70_000).Draw(rt, "content")
		draft := Attachment(t, "SC-00", clock.At(), string(content))
		Write(t, db, draft)
		kept[digestOf(string(content))] = true
		Read(t, db, func(tx *store.Tx) error {
			got, err := tx.Content(digestOf(string(content)))
			if !bytes.Equal(got, content) {
				rt.Errorf("%d bytes came back of %d", len(got), len(content))
			}
			return err
		})
		Write(t, db, draft) // sent again
	})
	if got := contentCount(t, e, db.Home()); got != len(kept) {
		t.Errorf("%d files are kept, want %d", got, len(kept))
	}
	v, err := db.Home().Verify(context.Background(), nil, nil)
	if err != nil || v.Files != len(kept) {
		t.Errorf("verified: %+v, %v; want %d files", v, err, len(kept))
	}
}

// A record and its file are stored together, or neither is.
func fileRefusals(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.At()
	step := Step("SC-00", at)
	step.Content = []byte("x")
	without := Attachment(t, "SC-00", at, "%PDF-1.7")
	without.Content = nil
	other := Attachment(t, "SC-00", at, "%PDF-1.7")
	other.Content = []byte("%PDF-1.6")
	size := Attachment(t, "SC-00", at, "%PDF-1.7")
	body := size.Body.(dossier.Attachment)
	body.Size++
	size.Body = body
	replaced := Attachment(t, "SC-00", at, "%PDF-1.7 replaced")
	replaced.Corrects, replaced.Reason = ledger.DerivedID("nothing"), "r"
	for _, test := range []struct {
		name  string
		draft store.Draft
		code  fault.Code
		want  string
	}{
		{"a file with a step", step, "", "a step record attaches no file"},
		{"no file", without, fault.Invalid, "the 0 bytes are not the file that the attachment record names"},
		{"another file", other, fault.Invalid, "the 8 bytes are not the file"},
		{"another size", size, fault.Invalid, "the 8 bytes are not the file"},
		{"a record that may not be written", replaced, fault.NotFound, "there is no record"},
	} {
		t.Run(test.name, func(t *testing.T) {
			err := db.Write(context.Background(), func(tx *store.Tx) error {
				_, _, err := tx.Append(test.draft)
				if err == nil {
					t.Error("it was not refused")
				} else if fault.CodeOf(err) != test.code || !strings.Contains(err.Error(), test.want) {
					t.Errorf("got %q %v, want %q %q", fault.CodeOf(err), err, test.code, test.want)
				}
				_, _, err = tx.Append(Step("SC-00", at)) // whoever goes on takes nothing of it along
				return err
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	gone := errors.New("gone")
	if err := db.Write(context.Background(), func(tx *store.Tx) error {
		_, _, err := tx.Append(Attachment(t, "SC-00", at, "%PDF-1.7 taken back"))
		return errors.Join(err, gone)
	}); !errors.Is(err, gone) {
		t.Error(err)
	}
	if got := contentCount(t, e, db.Home()); got != 0 {
		t.Errorf("%d files are kept, want none", got)
	}
}
