package storetest

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/store"
)

// change runs a writing transaction that must succeed.
func change(tb testing.TB, db *store.DB, work func(*store.Tx) error) {
	tb.Helper()
	if err := db.Write(context.Background(), work); err != nil {
		tb.Fatal(err)
	}
}

// accountOf finds an account that must be there.
func accountOf(tb testing.TB, db *store.DB, find func(*store.Tx) (store.Account, bool, error)) (a store.Account) {
	tb.Helper()
	Read(tb, db, func(tx *store.Tx) error {
		found, ok, err := find(tx)
		if !ok && err == nil {
			err = errors.New("there is no such account")
		}
		a = found
		return err
	})
	return a
}

func accounts(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.At()
	full := store.Account{
		Code: "T-02", Name: "Kim 😂 Muster", Roles: []access.Role{access.Technician, access.Lead}, Password: "p", PIN: "q", Badge: "b", Once: "o",
		OnceUntil: at + 1, MustChange: true, Disabled: at + 2, Created: at, Changed: at + 3,
	}
	bare := store.Account{Code: "T-01", Name: "n", Created: at}
	change(t, db, func(tx *store.Tx) error {
		return errors.Join(tx.Access().AddAccount(full), tx.Access().AddAccount(bare))
	})
	var all []store.Account
	Read(t, db, func(tx *store.Tx) (err error) {
		all, err = tx.Access().Accounts()
		return err
	})
	if diff := cmp.Diff([]store.Account{bare, full}, all); diff != "" {
		t.Errorf("all accounts (-want +got):\n%s", diff)
	}
	byCode := func(code string) func(*store.Tx) (store.Account, bool, error) {
		return func(tx *store.Tx) (store.Account, bool, error) { return tx.Access().Account(code) }
	}
	byBadge := func(tx *store.Tx) (store.Account, bool, error) { return tx.Access().AccountByBadge("b") }
	for _, find := range []func(*store.Tx) (store.Account, bool, error){byCode("T-02"), byCode(" t-02"), byBadge} {
		if diff := cmp.Diff(full, accountOf(t, db, find)); diff != "" {
			t.Errorf("found (-want +got):\n%s", diff)
		}
	}
	for _, add := range []store.Account{{Code: "t-02", Created: at}, {Code: "T-03", Badge: "b", Created: at}} {
		wantCode(t, "account "+add.Code, db.Write(context.Background(), func(tx *store.Tx) error { return tx.Access().AddAccount(add) }), fault.Conflict)
	}
	Read(t, db, func(tx *store.Tx) error {
		for _, code := range []string{"", "T-03", "T_02", "%"} {
			if _, ok, err := tx.Access().Account(code); ok || err != nil {
				t.Errorf("account %q: %t, %v", code, ok, err)
			}
		}
		for _, badge := range []string{"", "B", "c"} { // accounts without a badge have none in common
			if _, ok, err := tx.Access().AccountByBadge(badge); ok || err != nil {
				t.Errorf("badge %q: %t, %v", badge, ok, err)
			}
		}
		return nil
	})
	save := func(a store.Account) error {
		return db.Write(context.Background(), func(tx *store.Tx) error { return tx.Access().SaveAccount(a) })
	}
	taken := bare
	taken.Badge = "b"
	wantCode(t, "another account's badge", save(taken), fault.Conflict)
	wantCode(t, "account that is not there", save(store.Account{Code: "T-03"}), fault.NotFound)
	changed := store.Account{Code: "T-02", Name: "m", Roles: []access.Role{access.Auditor}, Badge: "b", Created: at}
	if err := save(changed); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(changed, accountOf(t, db, byCode("T-02"))); diff != "" {
		t.Errorf("saved (-want +got):\n%s", diff)
	}
	refused := errors.New("no")
	if err := db.Write(
		context.Background(),
		func(tx *store.Tx) error { return errors.Join(tx.Access().SaveAccount(full), refused) },
	); !errors.Is(
		err,
		refused,
	) {
		t.Fatal(err)
	}
	if got := accountOf(t, db, byCode("T-02")); got.Name != "m" {
		t.Error("what was taken back is stored")
	}
}

func attempts(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.At()
	known, stranger, fresh := access.Key("T-01"), access.Key("X-01"), access.Key("X-02")
	change(t, db, func(tx *store.Tx) error {
		return errors.Join(
			tx.Access().AddAccount(store.Account{Code: "T-01", Name: "n", Created: at}),
			tx.Access().SaveFailures(known, access.Failures{Count: 1, Last: at}),
			tx.Access().SaveFailures(known, access.Failures{Count: 2, Last: at}),
			tx.Access().SaveFailures(stranger, access.Failures{Count: 7, Last: at}),
			tx.Access().SaveFailures(fresh, access.Failures{Count: 1, Last: at + 1}),
		)
	})
	want := func(key string, f access.Failures) {
		t.Helper()
		Read(t, db, func(tx *store.Tx) error {
			if got, err := tx.Access().Failures(key); got != f || err != nil {
				t.Errorf("failures %+v, %v; want %+v", got, err, f)
			}
			return nil
		})
	}
	two := access.Failures{Count: 2, Last: at}
	want(known, two)
	want(stranger, access.Failures{Count: 7, Last: at})
	if got := accountOf(t, db, func(tx *store.Tx) (store.Account, bool, error) { return tx.Access().Account("T-01") }); got.Failures != two {
		t.Errorf("the account has the failures %+v", got.Failures)
	}
	change(t, db, func(tx *store.Tx) error { return tx.Access().ForgetStrangers(at + 1) })
	want(known, two)
	want(stranger, access.Failures{})
	want(fresh, access.Failures{Count: 1, Last: at + 1})
	change(t, db, func(tx *store.Tx) error { return tx.Access().SaveFailures(known, access.Failures{}) })
	want(known, access.Failures{})
}

func sessions(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.At()
	made := func(token, code string, created unit.Instant) store.Session {
		return store.Session{
			Token:   token,
			Code:    code,
			Times:   access.Times{Created: created, Seen: created + 1, Proved: created + 2},
			Address: "192.0.2.1",
			Agent:   "b 😂",
		}
	}
	first, second, third := made("a", "T-01", at), made("b", "T-01", at+10), made("c", "T-02", at)
	third.Locked = true
	change(t, db, func(tx *store.Tx) error {
		return errors.Join(tx.Access().AddSession(first), tx.Access().AddSession(second), tx.Access().AddSession(third))
	})
	want := func(code string, want ...store.Session) {
		t.Helper()
		Read(t, db, func(tx *store.Tx) error {
			got, err := tx.Access().Sessions(code)
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("sessions of %s (-want +got):\n%s", code, diff)
			}
			return err
		})
	}
	want("T-01", second, first)
	want("T-02", third)
	want("t-01")
	if err := db.Write(context.Background(), func(tx *store.Tx) error { return tx.Access().AddSession(first) }); err == nil {
		t.Error("two sessions have one token")
	}
	change(t, db, func(tx *store.Tx) error { return tx.Access().TouchSession("b", at+20, true) })
	second.Seen, second.Locked = at+20, true
	Read(t, db, func(tx *store.Tx) error {
		got, ok, err := tx.Access().Session("b")
		if diff := cmp.Diff(second, got); diff != "" || !ok || err != nil {
			t.Errorf("touched: %t, %v\n%s", ok, err, diff)
		}
		if _, ok, err := tx.Access().Session("A"); ok || err != nil {
			t.Errorf("a token in another case: %t, %v", ok, err)
		}
		return nil
	})
	ends := first.Ends()
	if ends != at.Add(12*time.Hour) {
		t.Fatalf("a session ends at %s", ends)
	}
	change(t, db, func(tx *store.Tx) error { return tx.Access().DropSessions(ends - 1) })
	want("T-01", second, first)
	change(t, db, func(tx *store.Tx) error { return tx.Access().DropSessions(ends) })
	want("T-01", second)
	want("T-02")
	change(t, db, func(tx *store.Tx) error {
		return errors.Join(tx.Access().AddSession(first), tx.Access().AddSession(third), tx.Access().EndSession("b"), tx.Access().EndSession("x"))
	})
	want("T-01", first)
	change(t, db, func(tx *store.Tx) error {
		n, err := tx.Access().EndSessions("T-01")
		if n != 1 {
			t.Errorf("%d sessions were ended, want 1", n)
		}
		return err
	})
	want("T-01")
	want("T-02", third)
}
