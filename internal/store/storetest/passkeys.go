package storetest

import (
	"context"
	"errors"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/store"
)

func passkeys(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.At()
	first := store.Passkey{
		ID: "a", Code: "T-01", Name: "blue key 😂", Host: "pc-7.example", Key: []byte{0, 1, 255}, Flags: 0x5d, Counter: math.MaxUint32,
		Transports: []string{"internal", "hybrid"}, Added: at, Used: at + 1,
	}
	second := store.Passkey{ID: "A", Code: "T-01", Name: "n", Host: "localhost", Key: []byte{1}, Transports: []string{}, Added: at + 1}
	third := store.Passkey{ID: "c", Code: "T-02", Name: "n", Host: "localhost", Key: []byte{2}, Transports: []string{}, Added: at}
	account := store.Account{Code: "T-01", Name: "n", Created: at}
	change(t, db, func(tx *store.Tx) error {
		return errors.Join(tx.Access().AddAccount(account), tx.Access().AddPasskey(second), tx.Access().AddPasskey(first), tx.Access().AddPasskey(third))
	})
	wantCode(t, "an id twice", db.Write(context.Background(), func(tx *store.Tx) error {
		return tx.Access().AddPasskey(store.Passkey{ID: "a", Code: "T-02", Key: []byte{3}, Added: at})
	}), fault.Conflict)
	want := func(code string, want ...store.Passkey) {
		t.Helper()
		Read(t, db, func(tx *store.Tx) error {
			got, err := tx.Access().Passkeys(code)
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("passkeys of %s (-want +got):\n%s", code, diff)
			}
			return err
		})
	}
	want("T-01", first, second)
	want("T-02", third)
	want("t-01")
	Read(t, db, func(tx *store.Tx) error {
		got, ok, err := tx.Access().Passkey("a")
		if diff := cmp.Diff(first, got); diff != "" || !ok || err != nil {
			t.Errorf("found: %t, %v\n%s", ok, err, diff)
		}
		if _, ok, err := tx.Access().Passkey("b"); ok || err != nil {
			t.Errorf("an id that nobody has: %t, %v", ok, err)
		}
		return nil
	})
	change(t, db, func(tx *store.Tx) error { return tx.Access().UsePasskey("A", 7, 0x05, at+9) })
	second.Counter, second.Flags, second.Used = 7, 0x05, at+9
	want("T-01", first, second)

	handle := func(code, want string) {
		t.Helper()
		Read(t, db, func(tx *store.Tx) error {
			if got, err := tx.Access().Handle(code); got != want || err != nil {
				t.Errorf("%s is called %q, %v; want %q", code, got, err, want)
			}
			return nil
		})
	}
	handle("T-01", "")
	handle("T-02", "")
	change(t, db, func(tx *store.Tx) error { return tx.Access().SaveHandle("T-01", "h") })
	handle("T-01", "h")
	account.Name = "m" // what else is saved leaves the handle alone
	change(t, db, func(tx *store.Tx) error { return tx.Access().SaveAccount(account) })
	handle("T-01", "h")

	remove := func(code, id string, want bool) {
		t.Helper()
		change(t, db, func(tx *store.Tx) error {
			removed, err := tx.Access().RemovePasskey(code, id)
			if removed != want {
				t.Errorf("passkey %s of %s is removed: %t", id, code, removed)
			}
			return err
		})
	}
	remove("T-02", "a", false) // somebody else's
	remove("T-01", "a", true)
	remove("T-01", "a", false)
	want("T-01", second)
	change(t, db, func(tx *store.Tx) error { return tx.Access().RemovePasskeys("T-01") })
	want("T-01")
	want("T-02", third)
}
