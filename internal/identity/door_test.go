package identity_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

const (
	right = "crumb lantern oboe drift"
	other = "walrus thimble crater fog"
	badge = "4829136077"
	pin   = "4071"
)

// bench7 is where attempts come from in most tests.
var bench7 = identity.Source{Address: "192.0.2.7", Agent: "test"}

// lobby is a door with an administrator A-01 and a technician T-01, both with the password right, T-01
// with a badge and a PIN as well.
type lobby struct {
	testing.TB
	door *identity.Door
	db   *store.DB
	now  *storetest.Clock
	// heard counts the comparisons with slow hashes, most is how many there were at one time.
	heard, running, most atomic.Int64
}

// cheapCost makes tests quick in which the cost is not the question.
var cheapCost = access.Cost{Memory: 8, Passes: 1, Lanes: 1}

func enter(tb testing.TB) *lobby {
	tb.Helper()
	return enterAs(tb, false)
}

// enterAs is enter at a site that is on trial, or was never.
func enterAs(tb testing.TB, trial bool) *lobby {
	tb.Helper()
	l := &lobby{TB: tb, now: storetest.NewClock()}
	db, err := sqlite.Folder(tb.TempDir()).
		Create(context.Background(), record.SiteBody{Code: "S1", Name: "Test site", Zone: "Europe/Berlin", Origin: "test.example/s1", Trial: trial}, l.now.Now)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := db.Close(); err != nil {
			tb.Error(err)
		}
	})
	l.db = db
	l.door = identity.NewDoor(db, cheapCost)
	l.door.Watch(func(cost access.Cost, compare func() bool) bool {
		if cost != cheapCost {
			tb.Errorf("a comparison costs %+v", cost)
		}
		l.heard.Add(1)
		for now := l.running.Add(1); ; {
			most := l.most.Load()
			if now <= most || l.most.CompareAndSwap(most, now) {
				break
			}
		}
		defer l.running.Add(-1)
		return compare()
	})
	l.add("A-01", "Robin Beispiel", access.Administrator)
	l.add("T-01", "Kim Muster", access.Technician)
	l.done(l.door.SetPIN(context.Background(), byT, "T-01", pin))
	l.done(l.door.SetBadge(context.Background(), byT, "T-01", badge))
	return l
}

var (
	byA = identity.Entry{Actor: access.Operator("A-01")}
	byT = identity.Entry{Actor: access.Operator("T-01")}
)

func (l *lobby) add(code, name string, roles ...access.Role) {
	l.Helper()
	r, once, err := l.door.AddAccount(
		context.Background(),
		identity.Entry{Actor: access.Operator(code)},
		identity.NewAccount{Code: code, Name: name, Roles: roles, Password: right},
	)
	if err != nil || once != "" || !r.Fresh {
		l.Fatalf("add %s: %+v, one-time code %q, %v", code, r, once, err)
	}
}

func (l *lobby) done(_ identity.Receipt, err error) {
	l.Helper()
	if err != nil {
		l.Fatal(err)
	}
}

// in wants an attempt to succeed.
func (l *lobby) in(p identity.Pass, err error) identity.Pass {
	l.Helper()
	if err != nil {
		l.Fatal(err)
	}
	if p.Token == "" || p.State != access.Active {
		l.Fatalf("the session is %s, the token has %d characters", p.State, len(p.Token))
	}
	return p
}

// out wants an attempt to be denied with these words, and nothing to come with it; it returns for how
// long no other one is heard.
func (l *lobby) out(p identity.Pass, err error) func(want string) time.Duration {
	return func(want string) time.Duration {
		l.Helper()
		denied, ok := errors.AsType[*identity.DeniedError](err)
		if !ok || !strings.Contains(err.Error(), want) || p.Token != "" || p.Account.Code != "" {
			l.Fatalf("got %+v, %v; want a denial with %q", p, err, want)
		}
		return denied.Wait
	}
}

func (l *lobby) visit(token string) identity.Visit {
	l.Helper()
	v, err := l.door.Session(context.Background(), token, true)
	if err != nil {
		l.Fatal(err)
	}
	return v
}

// look asks about accounts.
func (l *lobby) look(ctx context.Context, ask func(identity.View) error) error {
	return l.db.Read(ctx, func(tx *store.Tx) error { return ask(identity.On(tx)) })
}

// technician returns the account of T-01.
func (l *lobby) technician() (a store.Account) {
	l.Helper()
	if err := l.look(context.Background(), func(v identity.View) (err error) {
		a, err = v.Account("T-01")
		return err
	}); err != nil {
		l.Fatal(err)
	}
	return a
}

func TestSignIn(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	p := l.in(l.door.SignIn(ctx, " t-01", right, identity.Source{Address: "192.0.2.7", Agent: strings.Repeat("ä", 300) + "\xff"}))
	if p.Account.Code != "T-01" || p.Account.Name != "Kim Muster" || !slices.Equal(p.Account.Roles, []access.Role{access.Technician}) || p.Account.MustChange {
		t.Errorf("signed in as %+v", p.Account)
	}
	v := l.visit(p.Token)
	if v.State != access.Active || v.Account.Code != "T-01" || !v.Session.MaySign(l.now.At()) {
		t.Errorf("the session is %+v", v)
	}
	if n := len(v.Session.Agent); n != 200 {
		t.Errorf("%d bytes of the browser's name are kept, want 200", n)
	}
	for _, token := range []string{"", "x", p.Token + "x", p.Session.Token} {
		if v := l.visit(token); v.State != access.Expired || v.Account.Code != "" {
			t.Errorf("token %q: %+v", token, v)
		}
	}
	if err := l.door.SignOut(ctx, p.Token); err != nil {
		t.Fatal(err)
	}
	if v := l.visit(p.Token); v.State != access.Expired {
		t.Errorf("after signing out the session is %s", v.State)
	}
	if err := l.door.SignOut(ctx, p.Token); err != nil {
		t.Errorf("signing out twice: %v", err)
	}
}

// Whatever the reason, the answer is the same words after the same work.
func TestDeniedAlike(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	l.add("T-02", "Ada Muster", access.Technician)
	l.done(l.door.Disable(ctx, byA, "T-02"))
	if _, _, err := l.door.AddAccount(ctx, byA, identity.NewAccount{Code: "T-03", Name: "Lin Muster"}); err != nil {
		t.Fatal(err)
	}
	for i, test := range []struct{ name, code, password string }{
		{"wrong password", "T-01", other},
		{"another case", "A-01", strings.ToUpper(right)},
		{"no such account", "X-99", right},
		{"disabled, right password", "T-02", right},
		{"no password yet", "T-03", right},
		{"no code", "", right},
		{"a code that could be no code", "<b>\xff", right},
		{"the PIN is no password", "A-01", pin},
	} {
		l.now.Move(time.Minute)
		before := l.heard.Load()
		p, err := l.door.SignIn(ctx, test.code, test.password, identity.Source{Address: fmt.Sprint(i)})
		if wait := l.out(p, err)("is not right"); wait != 0 || err.Error() != "the code or the password is not right" {
			t.Errorf("%s: %v, wait %s", test.name, err, wait)
		}
		if n := l.heard.Load() - before; n != 1 {
			t.Errorf("%s: %d slow hashes, want 1", test.name, n)
		}
	}
	// A secret that is far too long costs nothing and is wrong all the same.
	l.now.Move(time.Minute)
	l.out(l.door.SignIn(ctx, "A-01", strings.Repeat("x", 1<<20), bench7))("is not right")
}

// Nobody who guesses can tell a code that exists from one that does not, however long they try and wait.
func TestStrangersLookLikeAccounts(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	rapid.Check(t, func(rt *rapid.T) {
		l := enter(t)
		ctx := context.Background()
		badges := rapid.Bool().Draw(rt, "badges")
		try := func(i int, known bool) string {
			from := identity.Source{Address: fmt.Sprint(i)}
			var err error
			switch {
			case badges && known:
				_, err = l.door.Switch(ctx, badge, "9999", from)
			case badges:
				_, err = l.door.Switch(ctx, "0000000000", "9999", from)
			case known:
				_, err = l.door.SignIn(ctx, "T-01", other, from)
			default:
				_, err = l.door.SignIn(ctx, "X-99", other, from)
			}
			if err == nil {
				rt.Fatal("a wrong secret was let in")
			}
			return err.Error()
		}
		for i := range 15 {
			l.now.Move(time.Duration(rapid.IntRange(0, 70).Draw(rt, "pause")) * time.Second)
			if rapid.IntRange(0, 5).Draw(rt, "somebody signs in") == 0 {
				l.in(l.door.SignIn(ctx, "A-01", right, identity.Source{Address: "z" + fmt.Sprint(i)}))
			}
			if account, stranger := try(i, true), try(i, false); account != stranger {
				rt.Fatalf("attempt %d: %q for an account, %q for none", i, account, stranger)
			}
		}
	})
}

func TestWaitGrows(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	from := func(i int) identity.Source { return identity.Source{Address: fmt.Sprintf("192.0.2.%d", i)} }
	for i, wait := range []int{1, 2, 4, 8, 16, 32, 60, 60} {
		l.out(l.door.SignIn(ctx, "T-01", other, from(i)))("is not right")
		before := l.heard.Load()
		// Too early the right password is not heard either, and does not make it worse.
		for range 3 {
			if got := l.out(
				l.door.SignIn(ctx, "T-01", right, from(i)),
			)(
				fmt.Sprintf("the next one is heard in %d s", wait),
			); got != time.Duration(
				wait,
			)*time.Second {
				t.Errorf("failure %d: wait %s", i+1, got)
			}
		}
		if l.heard.Load() != before {
			t.Error("a secret was compared too early")
		}
		l.now.Move(time.Duration(wait)*time.Second - time.Microsecond)
		l.out(l.door.SignIn(ctx, "T-01", right, from(i)))("the next one is heard in 1 s")
		l.now.Move(time.Microsecond)
	}
	if got := l.technician().Failures.Count; got != 8 {
		t.Errorf("%d failures, want 8", got)
	}
	l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	if got := l.technician().Failures; got != (access.Failures{}) {
		t.Errorf("after signing in: %+v", got)
	}
	l.out(l.door.SignIn(ctx, "T-01", other, bench7))("is not right")
	l.now.Move(time.Second)
	l.in(l.door.SignIn(ctx, "T-01", right, bench7)) // one second again
}

func TestClosedAfterHundredFailures(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	for i := range access.MostFailures {
		l.now.Move(time.Minute)
		l.out(l.door.SignIn(ctx, "T-01", other, identity.Source{Address: fmt.Sprint(i)}))("is not right")
	}
	l.now.Move(24 * time.Hour)
	l.out(l.door.SignIn(ctx, "T-01", right, bench7))("closed after 100 failed attempts in a row\nhint: ask an administrator")
	l.in(l.door.SignIn(ctx, "A-01", right, bench7))
	_, once, err := l.door.Reset(ctx, byA, "T-01")
	if err != nil {
		t.Fatal(err)
	}
	l.in(l.door.Redeem(ctx, "T-01", once, other, bench7))
}

// Attempts that come at once are no way around the wait.
func TestAttemptsAtOnce(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	var wg sync.WaitGroup
	for i := range 12 {
		wg.Go(func() {
			_, err := l.door.SignIn(ctx, "T-01", other, identity.Source{Address: fmt.Sprint(i)})
			if _, ok := errors.AsType[*identity.DeniedError](err); !ok {
				t.Error(err)
			}
		})
		wg.Go(func() {
			if _, err := l.door.SignIn(ctx, fmt.Sprintf("X-%d", i), other, identity.Source{Address: fmt.Sprint("x", i)}); err == nil {
				t.Error("a stranger got in")
			}
		})
	}
	wg.Wait()
	if got := l.technician().Failures.Count; got != 1 {
		t.Errorf("%d of 12 attempts at once were heard, want 1", got)
	}
	if got := l.heard.Load(); got != 13 {
		t.Errorf("%d secrets were compared, want 13", got)
	}
	if got := l.most.Load(); got < 1 || got > 2 {
		t.Errorf("%d hashes at one time, want at most 2", got)
	}
}

// Whoever gives up while others are served is not served.
func TestGivenUpAtTheDoor(t *testing.T) {
	l := enter(t)
	hold, held := make(chan struct{}), make(chan struct{}, 2)
	l.door.Watch(func(_ access.Cost, compare func() bool) bool {
		held <- struct{}{}
		<-hold
		return compare()
	})
	var wg sync.WaitGroup
	for _, code := range []string{"A-01", "T-01"} {
		wg.Go(func() {
			if _, err := l.door.SignIn(context.Background(), code, right, bench7); err != nil {
				t.Error(err)
			}
		})
	}
	<-held
	<-held
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Millisecond)
	defer cancel()
	if _, err := l.door.SignIn(ctx, "T-01", right, bench7); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v", err)
	}
	close(hold)
	wg.Wait()
}

// An account that is changed while its secret is compared is not let in by what was true before.
func TestChangedMeanwhile(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	for name, meanwhile := range map[string]func() error{
		"disabled": func() error { _, err := l.door.Disable(ctx, byA, "T-01"); return err },
		"reset":    func() error { _, _, err := l.door.Reset(ctx, byA, "T-01"); return err },
	} {
		l.now.Move(time.Minute)
		done := false
		l.door.Watch(func(_ access.Cost, compare func() bool) bool {
			if err := meanwhile(); err != nil {
				t.Error(err)
			}
			done = compare()
			return done
		})
		_, err := l.door.SignIn(ctx, "T-01", right, bench7)
		if _, denied := errors.AsType[*identity.DeniedError](err); !denied || !done {
			t.Errorf("%s meanwhile: the secret was right: %t, got %v", name, done, err)
		}
		l.door.Watch(func(_ access.Cost, compare func() bool) bool { return compare() })
		if name == "disabled" {
			l.done(l.door.Enable(ctx, byA, "T-01"))
		}
		l.done(l.door.SetPassword(ctx, byA, "T-01", right))
		l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	}
}

// BenchmarkSignIn measures signing in as a person does it, and that a stranger is refused no sooner.
func BenchmarkSignIn(b *testing.B) {
	for _, code := range []string{"T-01", "X-99"} {
		b.Run(code, func(b *testing.B) {
			l, ctx := enter(b), b.Context()
			door := identity.NewDoor(l.db, access.Standard)
			l.in(door.SignIn(ctx, "T-01", right, bench7)) // hashed at the standard cost from now on
			for b.Loop() {
				l.now.Move(time.Minute)
				stranger := code + fmt.Sprint(l.now.At())
				if code == "T-01" {
					l.in(door.SignIn(ctx, code, right, bench7))
				} else if _, err := door.SignIn(ctx, stranger, right, bench7); err == nil {
					b.Fatal("a stranger got in")
				}
			}
		})
	}
}

func TestSourcesHaveBuckets(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	try := func(i int, address string) error {
		_, err := l.door.SignIn(ctx, fmt.Sprintf("X-%d", i), other, identity.Source{Address: address})
		return err
	}
	for _, network := range [][2]string{{"192.0.2.7", "192.0.2.7"}, {"2001:db8::1", "2001:db8::ffff:2"}, {"::ffff:192.0.2.9", "192.0.2.9"}} {
		for i := range access.BucketSize {
			if err := try(i, network[i%2]); !strings.Contains(err.Error(), "is not right") {
				t.Fatalf("%v: attempt %d: %v", network, i+1, err)
			}
			l.now.Move(time.Microsecond)
		}
		l.out(l.door.SignIn(ctx, "A-01", right, identity.Source{Address: network[1]}))("the next one is heard in 3 s")
		l.now.Move(time.Minute + time.Second) // the codes' own waits end as well
	}
	for i := range access.BucketSize {
		_ = try(i, "192.0.2.7")
	}
	l.in(l.door.SignIn(ctx, "A-01", right, identity.Source{Address: "192.0.2.8"}))
	l.out(l.door.SignIn(ctx, "A-01", right, identity.Source{Address: "192.0.2.7"}))("too many attempts")
	l.now.Move(access.BucketEvery)
	l.in(l.door.SignIn(ctx, "A-01", right, identity.Source{Address: "192.0.2.7"}))
}

// However many sources there are, only so many are kept; those beyond share one bucket until others are
// full again.
func TestManySources(t *testing.T) {
	l := enter(t)
	now := l.now.At()
	for i := range 10_000 {
		if wait, kept := l.door.Take(fmt.Sprint("a", i), now); wait != 0 || kept != i+1 {
			t.Fatalf("source %d: wait %s, %d kept", i, wait, kept)
		}
	}
	for i := range access.BucketSize + 1 {
		wait, kept := l.door.Take(fmt.Sprint("b", i), now)
		if refused := i == access.BucketSize; wait > 0 != refused || kept != 10_001 {
			t.Fatalf("source %d too many: wait %s, %d kept", i, wait, kept)
		}
	}
	if wait, _ := l.door.Take("a7", now); wait != 0 {
		t.Errorf("a source that is known waits %s for the others", wait)
	}
	if wait, kept := l.door.Take("c", now.Add(access.BucketEvery)); wait != 0 || kept != 3 { // a7, others, c
		t.Errorf("when the others are full again: wait %s, %d kept", wait, kept)
	}
}

func TestSessionLocksAndEnds(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	p := l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	// In use it stays open, and a page now and then is enough.
	for range 30 {
		l.now.Move(14 * time.Minute)
		if v := l.visit(p.Token); v.State != access.Active {
			t.Fatalf("in use the session is %s", v.State)
		}
	}
	l.now.Move(15 * time.Minute)
	for range 2 { // looking at a locked session does not open it
		if v := l.visit(p.Token); v.State != access.Locked || v.Account.Code != "T-01" {
			t.Fatalf("idle for 15 minutes it is %s of %q", v.State, v.Account.Code)
		}
	}
	_, err := l.door.Reauthenticate(ctx, p.Token, right, bench7)
	wantRefusal(t, err, fault.Invalid, "the session is locked\nhint: open it with the PIN or the password")
	l.out(l.door.Unlock(ctx, p.Token, "9999", bench7))("the PIN is not right")
	l.now.Move(time.Second)
	l.out(l.door.Unlock(ctx, p.Token, other, bench7))("the password is not right")
	l.now.Move(2 * time.Second)
	again := l.in(l.door.Unlock(ctx, p.Token, pin, bench7))
	if again.Session.Created != p.Session.Created || !again.Session.MaySign(l.now.At()) {
		t.Errorf("opened again: %+v", again.Session)
	}
	if v := l.visit(p.Token); v.State != access.Expired {
		t.Errorf("the token from before still counts: %s", v.State)
	}
	// A person's own lock holds at once, also against a page that comes in meanwhile.
	l.now.Move(2 * time.Minute)
	if err := l.door.Lock(ctx, again.Token); err != nil {
		t.Fatal(err)
	}
	if v := l.visit(again.Token); v.State != access.Locked {
		t.Errorf("locked it is %s", v.State)
	}
	third := l.in(l.door.Unlock(ctx, again.Token, right, bench7))
	l.now.Move(5 * time.Minute)
	if l.visit(third.Token).Session.MaySign(l.now.At()) {
		t.Error("a proof of five minutes ago still signs")
	}
	fourth := l.in(l.door.Reauthenticate(ctx, third.Token, right, bench7))
	if !fourth.Session.MaySign(l.now.At()) || fourth.Session.Created != p.Session.Created {
		t.Errorf("after showing who they are: %+v", fourth.Session)
	}
	// 12 hours after signing in it is over, whatever happened between.
	for l.now.At() < p.Session.Ends() {
		if v := l.visit(fourth.Token); v.State != access.Active {
			t.Fatalf("%s before the end it is %s", p.Session.Ends().Sub(l.now.At()), v.State)
		}
		l.now.Move(time.Minute)
	}
	if v := l.visit(fourth.Token); v.State != access.Expired || v.Account.Code != "" {
		t.Errorf("after 12 hours it is %s", v.State)
	}
	_, err = l.door.Unlock(ctx, fourth.Token, right, bench7)
	wantRefusal(t, err, fault.Invalid, "the session has ended\nhint: sign in again")
	if err := l.door.Lock(ctx, fourth.Token); err != nil {
		t.Error(err)
	}
	// Signing in clears away what has ended.
	l.in(l.door.SignIn(ctx, "A-01", right, bench7))
	var left int
	if err := sqlitetest.Raw(t, l.db.Home()).QueryRowContext(ctx, `SELECT count(*) FROM session`).Scan(&left); err != nil || left != 1 {
		t.Errorf("%d sessions are kept, %v; want 1", left, err)
	}
}

func wantRefusal(tb testing.TB, err error, code fault.Code, want string) {
	tb.Helper()
	if fault.CodeOf(err) != code || err == nil || err.Error() != want {
		tb.Errorf("got %q: %v\nwant %q: %s", fault.CodeOf(err), err, code, want)
	}
}

func TestSwitch(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	p := l.in(l.door.Switch(ctx, badge, pin, bench7))
	if p.Account.Code != "T-01" {
		t.Errorf("signed in as %s", p.Account.Code)
	}
	for range access.MostPINFailures {
		l.out(l.door.Switch(ctx, badge, "9999", bench7))("the badge or the PIN is not right")
		l.now.Move(time.Minute)
	}
	l.out(l.door.Switch(ctx, badge, pin, bench7))("the PIN is closed after 5 failed attempts in a row\nhint: use the password")
	l.out(l.door.Unlock(ctx, p.Token, pin, bench7))("the PIN is closed")
	l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	l.in(l.door.Switch(ctx, badge, pin, bench7))
	// A PIN alone, or a badge alone, is nothing.
	for _, test := range [][2]string{{"", pin}, {"T-01", pin}, {badge, ""}, {badge, right}} {
		l.out(l.door.Switch(ctx, test[0], test[1], bench7))("is not right")
		l.now.Move(time.Minute)
	}
	l.done(l.door.SetBadge(ctx, byA, "T-01", ""))
	l.out(l.door.Switch(ctx, badge, pin, bench7))("is not right")
	l.done(l.door.SetPIN(ctx, byA, "T-01", ""))
	l.now.Move(time.Minute)
	locked := l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	l.out(l.door.Unlock(ctx, locked.Token, pin, bench7))("the PIN is not right")
}

func TestOneTimeCode(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	_, once, err := l.door.AddAccount(ctx, byA, identity.NewAccount{Code: "T-05", Name: "Lin Grünwald", Roles: []access.Role{access.Technician}})
	if err != nil {
		t.Fatal(err)
	}
	_, err = l.door.Redeem(ctx, "T-05", once, "password1234567", bench7)
	if !errors.Is(err, access.ErrArgument) {
		t.Errorf("a common password: %v", err)
	}
	_, err = l.door.Redeem(ctx, "T-05", once, "lin grünwald 1999", bench7)
	if !errors.Is(err, access.ErrArgument) {
		t.Errorf("the own name: %v", err)
	}
	l.now.Move(time.Second)
	l.out(l.door.Redeem(ctx, "T-05", "0000-0000-0000-0000-0000-0000", other, bench7))("the code or the one-time code is not right")
	l.now.Move(time.Minute)
	l.out(l.door.Redeem(ctx, "A-01", "", other, bench7))("is not right") // an account without one
	l.out(l.door.Redeem(ctx, "X-99", once, other, bench7))("is not right")
	p := l.in(l.door.Redeem(ctx, "t-05", strings.ToLower(strings.ReplaceAll(once, "-", " ")), other, bench7))
	if p.Account.MustChange || p.Account.Once != "" {
		t.Errorf("after setting the password: %+v", p.Account)
	}
	l.out(l.door.Redeem(ctx, "T-05", once, right, bench7))("is not right")
	l.now.Move(time.Second)
	l.in(l.door.SignIn(ctx, "T-05", other, bench7))

	_, once, err = l.door.Reset(ctx, byA, "T-05")
	if err != nil {
		t.Fatal(err)
	}
	if v := l.visit(p.Token); v.State != access.Expired {
		t.Errorf("after the reset the session is %s", v.State)
	}
	l.out(l.door.SignIn(ctx, "T-05", other, bench7))("is not right")
	l.now.Move(24*time.Hour - time.Microsecond)
	l.in(l.door.Redeem(ctx, "T-05", once, right, bench7))
	if _, once, err = l.door.Reset(ctx, byA, "T-05"); err != nil {
		t.Fatal(err)
	}
	l.now.Move(24 * time.Hour)
	l.out(l.door.Redeem(ctx, "T-05", once, other, bench7))("is not right")
	if _, once, err = l.door.Reset(ctx, byA, "T-05"); err != nil {
		t.Fatal(err)
	}
	l.done(l.door.Disable(ctx, byA, "T-05"))
	l.out(l.door.Redeem(ctx, "T-05", once, other, bench7))("is not right")
}

func TestChangePassword(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	l.done(l.door.SetPassword(ctx, byA, "T-01", other))
	p := l.in(l.door.SignIn(ctx, "T-01", other, bench7))
	if !p.Account.MustChange {
		t.Error("a password that somebody else set need not be changed")
	}
	elsewhere := l.in(l.door.SignIn(ctx, "T-01", other, bench7))
	_, err := l.door.ChangePassword(ctx, p.Token, other, other, bench7)
	wantRefusal(t, err, fault.Invalid, "the new password is the old one")
	if _, err = l.door.ChangePassword(ctx, p.Token, other, "kim muster kim muster 1", bench7); !errors.Is(err, access.ErrArgument) {
		t.Errorf("the own name: %v", err)
	}
	l.out(l.door.ChangePassword(ctx, p.Token, pin, right, bench7))("the password is not right") // a PIN is not enough
	l.out(l.door.ChangePassword(ctx, p.Token, right, right+" x", bench7))("the password is not right")
	l.now.Move(time.Second)
	after := l.in(l.door.ChangePassword(ctx, p.Token, other, right, bench7))
	if after.Account.MustChange || l.technician().MustChange {
		t.Error("a password that the person has chosen must still be changed")
	}
	for _, token := range []string{p.Token, elsewhere.Token} {
		if v := l.visit(token); v.State != access.Expired {
			t.Errorf("a session from before the change is %s", v.State)
		}
	}
	if v := l.visit(after.Token); v.State != access.Active {
		t.Errorf("the session that made the change is %s", v.State)
	}
	l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	if _, err := l.door.ChangePassword(ctx, "", right, other, bench7); fault.CodeOf(err) != fault.Invalid {
		t.Errorf("without a session: %v", err)
	}
}

// What is taken away is gone at once, for sessions that are open too.
func TestTakenAwayAtOnce(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	p := l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	l.done(l.door.ChangeRoles(ctx, byA, "T-01", []access.Role{access.ProcedureRoom}))
	if got := l.visit(p.Token).Account.Roles; !slices.Equal(got, []access.Role{access.ProcedureRoom}) {
		t.Errorf("roles %v", got)
	}
	l.done(l.door.Disable(ctx, byA, "T-01"))
	if v := l.visit(p.Token); v.State != access.Expired {
		t.Errorf("the session of a disabled account is %s", v.State)
	}
	l.out(l.door.SignIn(ctx, "T-01", right, bench7))("is not right")
	l.done(l.door.Enable(ctx, byA, "T-01"))
	if v := l.visit(p.Token); v.State != access.Expired {
		t.Error("a session that was ended is back")
	}
	l.now.Move(time.Second)
	l.in(l.door.SignIn(ctx, "T-01", right, bench7))
}

func TestRevoke(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	var passes []identity.Pass
	for range 3 {
		passes = append(passes, l.in(l.door.SignIn(ctx, "T-01", right, bench7)))
		l.now.Move(time.Second)
	}
	admin := l.in(l.door.SignIn(ctx, "A-01", right, bench7))
	sessions := func() (ids []string) {
		err := l.look(ctx, func(v identity.View) error {
			all, err := v.Sessions("t-01")
			for _, s := range all {
				ids = append(ids, identity.SessionID(s))
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return ids
	}
	id := func(p identity.Pass) string { return identity.SessionID(p.Session) }
	if diff := cmp.Diff([]string{id(passes[2]), id(passes[1]), id(passes[0])}, sessions()); diff != "" {
		t.Errorf("sessions (-want +got):\n%s", diff)
	}
	if _, err := l.door.Revoke(ctx, byA, "T-01", id(admin)); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("another person's session: %v", err)
	}
	if n, err := l.door.Revoke(ctx, byA, "T-01", id(passes[1])); n != 1 || err != nil {
		t.Errorf("one session: %d, %v", n, err)
	}
	if l.visit(passes[1].Token).State != access.Expired || l.visit(passes[0].Token).State != access.Active {
		t.Error("the wrong session was ended")
	}
	if n, err := l.door.Revoke(ctx, byA, "T-01", ""); n != 2 || err != nil {
		t.Errorf("all sessions: %d, %v", n, err)
	}
	if l.visit(admin.Token).State != access.Active || len(sessions()) != 0 {
		t.Error("sessions of others were ended, or some were left")
	}
}

// A hash that was made at another cost is made anew when the secret is at hand.
func TestHashesAreRenewed(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	before := l.technician()
	dearer := identity.NewDoor(l.db, access.Cost{Memory: 16, Passes: 2, Lanes: 1})
	l.in(dearer.SignIn(ctx, "T-01", right, bench7))
	l.in(dearer.Switch(ctx, badge, pin, bench7))
	after := l.technician()
	for _, hash := range []string{after.Password, after.PIN} {
		if !strings.Contains(hash, "$m=16,t=2,p=1$") {
			t.Errorf("the hash is %s", hash)
		}
	}
	if after.Changed != before.Changed {
		t.Error("a password that was hashed anew counts as changed")
	}
	l.in(dearer.SignIn(ctx, "T-01", right, bench7))
	if l.technician().Password != after.Password {
		t.Error("a hash was made anew without need")
	}
}

func TestRefusedAccounts(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	newAccount := func(code, name string, roles ...access.Role) error {
		_, _, err := l.door.AddAccount(ctx, byA, identity.NewAccount{Code: code, Name: name, Roles: roles})
		return err
	}
	only := func(_ identity.Receipt, err error) error { return err }
	before := storetest.StateOf(t, l.db)
	const listHint = "\nhint: see the accounts with: rinsate user list"
	for _, test := range []struct {
		name string
		err  error
		code fault.Code
		want string
	}{
		{"no code", newAccount("", "Kim"), fault.Invalid, `not allowed: ` +
			`"" cannot be a person's code; use 1 to 32 letters, digits, hyphens, underscores and points, such as T-01`},
		{"no name", newAccount("T-09", ""), fault.Invalid, "the name of T-09 must have 1 to 100 characters and no space at its ends"},
		{
			"unknown role", newAccount("T-09", "Kim", "boss"), fault.Invalid,
			`not allowed: role "boss" is not known; known are: technician, lead, infection-prevention, procedure-room, analyst, auditor, administrator`,
		},
		{"a code that is taken", newAccount("t-01", "Kim"), fault.Conflict, `account "t-01", or its badge, exists already` + listHint +
			"; a code is never given to another person"},
		{"roles of nobody", only(l.door.ChangeRoles(ctx, byA, "X-99", nil)), fault.NotFound, `there is no account "X-99"` + listHint},
		{"by nobody", only(l.door.ChangeRoles(ctx, identity.Entry{}, "T-01", nil)), fault.Forbidden, "to change roles is not for your roles\nhint: it takes " +
			"one of the roles: administrator"},
		{"the last administrator's roles", only(l.door.ChangeRoles(ctx, byT, "A-01", []access.Role{access.Lead})), fault.Conflict, "A-01 is the only one " +
			"who manages accounts\nhint: give somebody else the role administrator first"},
		{"the last administrator", only(l.door.Disable(ctx, byT, "A-01")), fault.Conflict, "A-01 is the only one who manages accounts\nhint: give somebody " +
			"else the role administrator first"},
		{"password of nobody", only(l.door.SetPassword(ctx, byA, "X-99", right)), fault.NotFound, `there is no account "X-99"` + listHint},
		{"a short PIN", only(l.door.SetPIN(ctx, byA, "T-01", "12")), fault.Invalid, "not allowed: a PIN has 4 to 8 digits and nothing else"},
		{"a short badge", only(l.door.SetBadge(ctx, byA, "T-01", "12")), fault.Invalid, "not allowed: a badge's text has 6 to 128 characters and no space " +
			"at its ends"},
		{"another person's badge", only(l.door.SetBadge(ctx, byA, "A-01", badge)), fault.Conflict, "that badge belongs to T-01\nhint: take it from that " +
			"account first, or use another badge"},
		{"not disabled", only(l.door.Enable(ctx, byA, "T-01")), fault.Conflict, "T-01 is not disabled"},
	} {
		t.Run(test.name, func(t *testing.T) { wantRefusal(t, test.err, test.code, test.want) })
	}
	if _, once, err := l.door.Reset(ctx, byA, "X-99"); fault.CodeOf(err) != fault.NotFound || once != "" {
		t.Errorf("reset of nobody: %q, %v", once, err)
	}
	if _, err := l.door.Revoke(ctx, byA, "X-99", ""); fault.CodeOf(err) != fault.NotFound {
		t.Errorf("sessions of nobody: %v", err)
	}
	if diff := cmp.Diff(before, storetest.StateOf(t, l.db)); diff != "" {
		t.Errorf("something was left:\n%s", diff)
	}
}

// The ledger says who gave which roles to which code, and nothing else about a person; what is stored
// beside it lets nobody in.
func TestWhatIsStored(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	_, once, err := l.door.AddAccount(ctx, byA, identity.NewAccount{Code: "T-05", Name: "Lin Grünwald", Roles: []access.Role{access.Analyst}})
	if err != nil {
		t.Fatal(err)
	}
	p := l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	l.out(l.door.SignIn(ctx, other, right, bench7))("is not right") // the password in the wrong field
	l.done(l.door.ChangeRoles(ctx, byA, "T-05", []access.Role{access.Auditor}))
	l.done(l.door.Disable(ctx, byA, "T-05"))

	var granted []identity.Granted
	if err := l.look(ctx, func(v identity.View) (err error) {
		granted, err = v.Grants("t-05")
		return err
	}); err != nil {
		t.Fatal(err)
	}
	at := l.now.At()
	want := []identity.Granted{
		{AccessBody: record.AccessBody{Code: "T-05", Change: record.AccountAdded, Roles: []access.Role{access.Analyst}}, By: "A-01", At: at},
		{AccessBody: record.AccessBody{Code: "T-05", Change: record.RolesChanged, Roles: []access.Role{access.Auditor}}, By: "A-01", At: at},
		{AccessBody: record.AccessBody{Code: "T-05", Change: record.AccountDisabled, Roles: []access.Role{access.Auditor}, Disabled: true}, By: "A-01", At: at},
	}
	if diff := cmp.Diff(want, granted); diff != "" {
		t.Errorf("on record (-want +got):\n%s", diff)
	}
	raw := sqlitetest.Raw(t, l.db.Home())
	dump := func(table string) string {
		var all strings.Builder
		rows, err := raw.QueryContext(ctx, `SELECT * FROM `+table)
		if err != nil {
			t.Fatal(err)
		}
		defer rows.Close()
		columns, err := rows.Columns()
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			values := make([]any, len(columns))
			for i := range values {
				values[i] = new(any)
			}
			if err := rows.Scan(values...); err != nil {
				t.Fatal(err)
			}
			for _, v := range values {
				if b, ok := (*v.(*any)).([]byte); ok {
					fmt.Fprintf(&all, "%s ", b)
				} else {
					fmt.Fprintf(&all, "%v ", *v.(*any))
				}
			}
		}
		if err := rows.Err(); err != nil || all.Len() == 0 {
			t.Fatalf("table %s is empty, so that nothing is looked at: %v", table, err)
		}
		return all.String()
	}
	secrets := []string{right, other, pin, badge, once, access.NormalOnce(once), p.Token}
	for _, table := range []string{"account", "attempt", "session", "record", "entity"} {
		text := dump(table)
		for _, secret := range secrets {
			if secret != pin && strings.Contains(text, secret) { // four digits occur in many a number
				t.Errorf("table %s holds %q", table, secret)
			}
		}
		if table != "account" && (strings.Contains(text, "Muster") || strings.Contains(text, "Grünwald") || strings.Contains(text, "Beispiel")) {
			t.Errorf("table %s holds a name", table)
		}
	}
	// The records of access cannot be taken back as if the roles had never been given.
	var id ledger.ID
	if err := raw.QueryRowContext(ctx, `SELECT r.id FROM record r JOIN entity e ON e.seq = r.seq WHERE e.type = 'access' LIMIT 1`).Scan(&id); err != nil {
		t.Fatal(err)
	}
	err = desk.New(l.db).As(access.Operator("A-01")).Do(ctx, func(w *desk.Work) error {
		_, err := w.Void(desk.Entry{By: "A-01", Corrects: id, Reason: "r"})
		return err
	})
	if fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), "an access record cannot be voided") {
		t.Errorf("void of an access record (%s): %v", id, err)
	}
	accounts := dump("account")
	db := storetest.Rebuilt(t, l.db, l.now.Now)
	if got := dump("account"); got != accounts {
		t.Error("rebuilding the tables changed the accounts")
	}
	again := identity.NewDoor(db, cheapCost)
	if v, err := again.Session(ctx, p.Token, true); err != nil || v.State != access.Active {
		t.Errorf("after a new start the session is %s, %v", v.State, err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// A page that asks by itself keeps no session awake.
func TestLookingKeepsNoSessionAwake(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	p := l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	for range 15 {
		l.now.Move(time.Minute)
		if _, err := l.door.Session(ctx, p.Token, false); err != nil {
			t.Fatal(err)
		}
	}
	if v := l.visit(p.Token); v.State != access.Locked {
		t.Errorf("after 15 minutes in which nobody did anything the session is %s", v.State)
	}
}

// A PIN opens less than a password, so that it is no proof for another one.
func TestChangePIN(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	p := l.in(l.door.SignIn(ctx, "T-01", right, bench7))
	l.out(l.door.ChangePIN(ctx, p.Token, pin, "7391", bench7))("the password is not right")
	if _, err := l.door.ChangePIN(ctx, p.Token, right, "1111", bench7); err == nil {
		t.Error("a PIN that everybody guesses was taken")
	}
	p = l.in(l.door.ChangePIN(ctx, p.Token, right, "7391", bench7))
	if err := l.door.Lock(ctx, p.Token); err != nil {
		t.Fatal(err)
	}
	l.out(l.door.Unlock(ctx, p.Token, pin, bench7))("the PIN is not right")
	l.now.Move(time.Second)
	l.in(l.door.Unlock(ctx, p.Token, "7391", bench7))
}

func TestVouch(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	a, err := l.door.Vouch(ctx, "t-01", right, bench7)
	if err != nil || a.Code() != "T-01" {
		t.Fatalf("%+v, %v", a, err)
	}
	var sessions []store.Session
	if err := l.look(ctx, func(v identity.View) (err error) {
		sessions, err = v.Sessions("T-01")
		return err
	}); err != nil || len(sessions) != 0 {
		t.Errorf("it began %d sessions, %v", len(sessions), err)
	}
	for name, try := range map[string][2]string{"a wrong password": {"T-01", other}, "the PIN": {"A-01", pin}, "a code that nobody has": {"X-99", right}} {
		heard := l.heard.Load()
		a, err := l.door.Vouch(ctx, try[0], try[1], bench7)
		denied, ok := errors.AsType[*identity.DeniedError](err)
		if !ok || denied.Wait != 0 || a.Code() != "" || l.heard.Load() != heard+1 {
			t.Errorf("%s: %+v, %v", name, a, err)
		}
	}
	// It is no way around the wait after a failure.
	if _, err := l.door.SignIn(ctx, "T-01", right, bench7); err == nil || !strings.Contains(err.Error(), "too many attempts") {
		t.Errorf("after a failure the next attempt is heard at once: %v", err)
	}
	l.done(l.door.SetPassword(ctx, byA, "T-01", other))
	if a, err := l.door.Vouch(ctx, "T-01", other, bench7); err == nil || a.Code() != "" || !strings.Contains(err.Error(), "set by somebody else") ||
		strings.Contains(err.Error(), "your") {
		t.Errorf("with a password that somebody else chose: %+v, %v", a, err)
	}
}

// Where the clock of the records runs ahead by months, an hour at a door with a clock of its own is an hour.
func TestDoorBesideADesk(t *testing.T) {
	l := enter(t)
	ctx := context.Background()
	here := storetest.NewClock()
	door := l.door.Beside(here.Now)
	pass, err := door.SignIn(ctx, "T-01", right, bench7)
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		l.now.Move(100 * 24 * time.Hour)
		here.Move(2 * time.Minute)
		v, err := door.Session(ctx, pass.Token, true)
		if err != nil || v.State != access.Active || v.Session.Seen != here.At() {
			t.Fatalf("after two minutes the session is %v, seen %s: %v", v.State, v.Session.Seen, err)
		}
	}
	here.Move(30 * 24 * time.Hour)
	if v, err := door.Session(ctx, pass.Token, true); err != nil || v.State != access.Expired {
		t.Errorf("after a month the session is %v: %v", v.State, err)
	}
}

// A name that acts on whoever reads it is refused.
func TestNamesThatAct(t *testing.T) {
	t.Parallel()
	for name, good := range map[string]bool{
		"Lin Gr\u00fcnwald": true, "a\u202eb": false, "a\x1b[2Jb": false, "a\u2028b": false, "a\U000E0041b": false, "a\u200bb": false, "\u2060": false,
	} {
		err := identity.NewAccount{Code: "T-09", Name: name, Roles: []access.Role{access.Technician}}.Check()
		if (err == nil) != good {
			t.Errorf("%q: %v", name, err)
		}
	}
}
