package identity_test

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-webauthn/webauthn/protocol/webauthncbor"

	"rinsate/internal/base/fault"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/identity/passkey"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Flags of the authenticator data (Web Authentication Level 2, section 6.1).
const (
	userPresent    = 1 << 0
	userVerified   = 1 << 2
	backupEligible = 1 << 3
	keyAttached    = 1 << 6
)

// device is an authenticator with one key, as section 6 of Web Authentication Level 2 describes it.
type device struct {
	key        *ecdsa.PrivateKey
	id, handle []byte
	// host and origin are what the browser says of the page, flags what the device says of its holder.
	host, origin string
	flags        byte
	count        uint32
}

func newDevice(tb testing.TB) *device {
	tb.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		tb.Fatal(err)
	}
	d := &device{key: key, id: make([]byte, 16), host: "pc-7.example", origin: "https://pc-7.example:8443", flags: userPresent | userVerified}
	rand.Read(d.id)
	return d
}

func encoded(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// asked is what a device needs of a question.
type asked struct {
	Challenge string `json:"challenge"`
	User      struct {
		ID   string `json:"id"`
		Name string `json:"name"`
	} `json:"user"`
	Exclude []struct {
		ID string `json:"id"`
	} `json:"excludeCredentials"`
	Allow []struct {
		ID string `json:"id"`
	} `json:"allowCredentials"`
	Verification string `json:"userVerification"`
	Attestation  string `json:"attestation"`
	Selection    struct {
		Resident     string `json:"residentKey"`
		Verification string `json:"userVerification"`
	} `json:"authenticatorSelection"`
	RP struct {
		ID string `json:"id"`
	} `json:"rp"`
	RPID string `json:"rpId"`
}

func read(tb testing.TB, options json.RawMessage) (a asked) {
	tb.Helper()
	if err := json.Unmarshal(options, &a); err != nil {
		tb.Fatal(err)
	}
	return a
}

func (d *device) client(kind, challenge string) []byte {
	text, err := json.Marshal(map[string]any{"type": kind, "challenge": challenge, "origin": d.origin, "crossOrigin": false})
	if err != nil {
		panic(err)
	}
	return text
}

// data returns the beginning of the authenticator data.
func (d *device) data(flags byte) []byte {
	host := sha256.Sum256([]byte(d.host))
	return binary.BigEndian.AppendUint32(append(host[:], flags), d.count)
}

func answer(tb testing.TB, id []byte, response map[string]any) []byte {
	tb.Helper()
	text, err := json.Marshal(
		map[string]any{
			"id":                     encoded(id),
			"rawId":                  encoded(id),
			"type":                   "public-key",
			"response":               response,
			"clientExtensionResults": map[string]any{"credProps": map[string]any{"rk": true}},
		},
	)
	if err != nil {
		tb.Fatal(err)
	}
	return text
}

// register makes the answer to a question for a new passkey, without attestation.
func (d *device) register(tb testing.TB, options json.RawMessage) []byte {
	tb.Helper()
	a := read(tb, options)
	var err error
	if d.handle, err = base64.RawURLEncoding.DecodeString(a.User.ID); err != nil {
		tb.Fatal(err)
	}
	point, err := d.key.PublicKey.Bytes() // 4, x, y
	if err != nil {
		tb.Fatal(err)
	}
	// Key type 2 with the algorithm -7 on the curve 1: ES256 (RFC 9053, sections 2.1 and 7.1).
	key, err := webauthncbor.Marshal(map[int]any{1: 2, 3: -7, -1: 1, -2: point[1:33], -3: point[33:]})
	if err != nil {
		tb.Fatal(err)
	}
	data := append(d.data(d.flags|keyAttached), make([]byte, 16)...) // a device that does not say what it is
	data = binary.BigEndian.AppendUint16(data, uint16(len(d.id)))
	data = slices.Concat(data, d.id, key)
	object, err := webauthncbor.Marshal(map[string]any{"fmt": "none", "attStmt": map[string]any{}, "authData": data})
	if err != nil {
		tb.Fatal(err)
	}
	return answer(
		tb,
		d.id,
		map[string]any{
			"clientDataJSON":    encoded(d.client("webauthn.create", a.Challenge)),
			"attestationObject": encoded(object),
			"transports":        []string{"internal"},
		},
	)
}

// sign makes the answer to a question for a passkey.
func (d *device) sign(tb testing.TB, options json.RawMessage) []byte {
	tb.Helper()
	client := d.client("webauthn.get", read(tb, options).Challenge)
	data := d.data(d.flags)
	hash := sha256.Sum256(client)
	digest := sha256.Sum256(slices.Concat(data, hash[:]))
	signature, err := ecdsa.SignASN1(rand.Reader, d.key, digest[:])
	if err != nil {
		tb.Fatal(err)
	}
	return answer(tb, d.id, map[string]any{
		"clientDataJSON": encoded(client), "authenticatorData": encoded(data), "signature": encoded(signature), "userHandle": encoded(d.handle),
	})
}

// keyed is a lobby with passkeys, in which T-01 has signed in with the password and has one.
type keyed struct {
	*lobby
	keys   *passkey.Passkeys
	device *device
	// token is that of the session of T-01.
	token string
}

func keysAt(tb testing.TB, l *lobby, address string) *passkey.Passkeys {
	tb.Helper()
	base, err := url.Parse(address)
	if err != nil {
		tb.Fatal(err)
	}
	keys, err := passkey.New(l.door, base)
	if err != nil {
		tb.Fatal(err)
	}
	return keys
}

func enterKeyed(tb testing.TB) *keyed {
	tb.Helper()
	l := enter(tb)
	k := &keyed{lobby: l, keys: keysAt(tb, l, "https://pc-7.example:8443/rinsate"), device: newDevice(tb)}
	k.token = l.in(l.door.SignIn(context.Background(), "T-01", right, bench7)).Token
	k.give(k.device, "blue key")
	return k
}

// give adds a passkey to T-01.
func (k *keyed) give(d *device, name string) {
	k.Helper()
	options, p, err := k.keys.AskToAdd(context.Background(), k.token, right, name, bench7)
	k.token = k.in(p, err).Token
	k.done(k.keys.Add(context.Background(), k.token, d.register(k, options)))
}

// signIn signs in with a device, whose answer change may spoil.
func (k *keyed) signIn(d *device, change ...func([]byte) []byte) (identity.Pass, error) {
	k.Helper()
	options, shown, err := k.keys.AskToSignIn(bench7)
	if err != nil {
		k.Fatal(err)
	}
	text := d.sign(k, options)
	for _, f := range change {
		text = f(text)
	}
	return k.keys.SignIn(context.Background(), shown, text, bench7)
}

// passkeys returns those of T-01.
func (k *keyed) passkeys() (all []store.Passkey) {
	k.Helper()
	if err := k.look(context.Background(), func(v identity.View) (err error) {
		all, err = v.Passkeys("T-01")
		return err
	}); err != nil {
		k.Fatal(err)
	}
	return all
}

func TestPasskeySignIn(t *testing.T) {
	k := enterKeyed(t)
	k.now.Move(10 * time.Minute)
	k.device.count = 7
	p := k.in(k.signIn(k.device))
	if p.Account.Code != "T-01" || !p.Session.MaySign(k.now.At()) {
		t.Errorf("signed in as %s; may sign: %t", p.Account.Code, p.Session.MaySign(k.now.At()))
	}
	all := k.passkeys()
	if len(all) != 1 || all[0].Name != "blue key" || all[0].Host != "pc-7.example" || all[0].Counter != 7 || all[0].Used != k.now.At() ||
		all[0].Added >= all[0].Used {
		t.Errorf("the passkey is %+v", all)
	}
	var changes []record.AccessChange
	if err := k.look(context.Background(), func(v identity.View) error {
		granted, err := v.Grants("T-01")
		for _, g := range granted {
			changes = append(changes, g.Change)
		}
		if last := granted[len(granted)-1]; last.By != "T-01" || last.Code != "T-01" || !slices.Equal(last.Roles, []access.Role{access.Technician}) {
			t.Errorf("the record is %+v", last)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if changes[len(changes)-1] != record.PasskeyAdded {
		t.Errorf("on record: %q", changes)
	}
	if token := k.in(k.door.RemovePasskey(context.Background(), p.Token, right, all[0].ID, bench7)).Token; k.visit(token).State != access.Active {
		t.Error("whoever removes a passkey has no session any more")
	}
	k.device.count++
	denied := k.out(k.signIn(k.device))
	denied("the passkey is not right")
	if len(k.passkeys()) != 0 {
		t.Error("the passkey is still there")
	}
}

// What a device is asked for: to keep the key, to check who holds it, and nothing about itself.
func TestWhatTheDeviceIsAsked(t *testing.T) {
	k := enterKeyed(t)
	ctx := context.Background()
	options, p, err := k.keys.AskToAdd(ctx, k.token, right, " second ", bench7)
	k.token = k.in(p, err).Token
	a := read(t, options)
	if a.RP.ID != "pc-7.example" || a.Selection.Resident != "required" || a.Selection.Verification != "required" || a.Attestation != "none" ||
		a.User.Name != "T-01" {
		t.Errorf("to add: %s", options)
	}
	if len(a.Exclude) != 1 || a.Exclude[0].ID != encoded(k.device.id) {
		t.Errorf("the passkey that there is must not be made again: %s", options)
	}
	if a.User.ID != encoded(k.device.handle) || len(k.device.handle) != 32 {
		t.Errorf("the account is called %s, and %s before", a.User.ID, encoded(k.device.handle))
	}
	in, _, err := k.keys.AskToSignIn(bench7)
	if err != nil {
		t.Fatal(err)
	}
	if a := read(t, in); a.RPID != "pc-7.example" || a.Verification != "required" || len(a.Allow) != 0 {
		t.Errorf("to sign in: %s", in)
	}
	unlock, err := k.keys.AskToUnlock(ctx, k.token)
	if err != nil {
		t.Fatal(err)
	}
	if a := read(t, unlock); a.Verification != "required" || len(a.Allow) != 1 || a.Allow[0].ID != encoded(k.device.id) {
		t.Errorf("to unlock: %s", unlock)
	}
	one, two := read(t, in).Challenge, read(t, unlock).Challenge
	if raw, err := base64.RawURLEncoding.DecodeString(one); err != nil || len(raw) < 16 || one == two {
		t.Errorf("challenges %q and %q; section 13.4.3 asks for 16 random bytes", one, two)
	}
}

func TestWrongAnswersOfDevices(t *testing.T) {
	tests := []struct {
		name string
		// device changes the device, answer the text that it sends.
		device func(*device)
		answer func(testing.TB, []byte) []byte
		cause  string
	}{
		{"another site", func(d *device) { d.origin = "https://pc-7.example.test:8443" }, nil, "origin"},
		{"another port", func(d *device) { d.origin = "https://pc-7.example" }, nil, "origin"},
		{"without TLS", func(d *device) { d.origin = "http://pc-7.example:8443" }, nil, "origin"},
		{"another host", func(d *device) { d.host = "pc-8.example" }, nil, "RP Hash"},
		{"nobody checked who holds it", func(d *device) { d.flags = userPresent }, nil, "User verification required"},
		{"nobody was there", func(d *device) { d.flags = userVerified }, nil, "User presence"},
		{"it can be copied all of a sudden", func(d *device) { d.flags |= backupEligible }, nil, "Backup Eligible"},
		{"another key", func(d *device) { d.key, _ = ecdsa.GenerateKey(elliptic.P256(), rand.Reader) }, nil, "signature"},
		{"a key that nobody has", func(d *device) { d.id = []byte("another") }, nil, "not known"},
		{"another account", func(d *device) { d.handle = make([]byte, 32) }, nil, "User handle"},
		{"no account", func(d *device) { d.handle = nil }, nil, "blank User Handle"},
		{"the counter stands", func(d *device) { d.count = 5 }, nil, "did not go up"},
		{"the counter went back", func(d *device) { d.count = 4 }, nil, "did not go up"},
		{"it counts no more", func(d *device) { d.count = 0 }, nil, "did not go up"},
		{"no answer", nil, func(testing.TB, []byte) []byte { return nil }, "Parse error"},
		{"nonsense", nil, func(testing.TB, []byte) []byte { return []byte(`{"id":"é"}`) }, ""},
		{"cut off", nil, func(_ testing.TB, b []byte) []byte { return b[:len(b)/2] }, "Parse error"},
		{"another signature", nil, func(tb testing.TB, b []byte) []byte {
			tb.Helper()
			return edit(tb, b, "signature", func(s []byte) { s[len(s)-1] ^= 1 })
		}, "signature"},
		{"more uses than were signed", nil, func(tb testing.TB, b []byte) []byte {
			tb.Helper()
			return edit(tb, b, "authenticatorData", func(s []byte) { s[len(s)-1] ^= 1 })
		}, "signature"},
		{"what another kind of question wants", nil, func(tb testing.TB, b []byte) []byte {
			tb.Helper()
			return edit(tb, b, "clientDataJSON", func(s []byte) { copy(s, bytes.Replace(s, []byte("webauthn.get"), []byte("webauthn.GET"), 1)) })
		}, "ceremony type"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			k := enterKeyed(t)
			k.device.count = 5
			k.in(k.signIn(k.device))
			d := *k.device
			d.count++
			if test.device != nil {
				test.device(&d)
			}
			p, err := k.signIn(&d, func(b []byte) []byte {
				if test.answer != nil {
					return test.answer(t, b)
				}
				return b
			})
			k.out(p, err)("the passkey is not right")
			if denied, ok := errors.AsType[*identity.DeniedError](
				err,
			); !ok || denied.Cause == nil ||
				!strings.Contains(strings.ToLower(denied.Cause.Error()), strings.ToLower(test.cause)) {
				t.Errorf("the cause is %v, want one with %q", denied.Cause, test.cause)
			} else if counter := errors.Is(
				err,
				passkey.ErrCounter,
			); counter != (test.cause == "did not go up") {
				t.Errorf("%v is about the counter: %t", err, counter)
			}
			if got := k.passkeys()[0].Counter; got != 5 {
				t.Errorf("the counter is %d now", got)
			}
			k.now.Move(time.Minute)
			k.device.count = 6
			k.in(k.signIn(k.device)) // the right device goes on
		})
	}
}

// edit changes bytes in one part of an answer.
func edit(tb testing.TB, text []byte, part string, change func([]byte)) []byte {
	tb.Helper()
	var whole struct {
		ID, RawID, Type string
		Response        map[string]any
	}
	if err := json.Unmarshal(text, &whole); err != nil {
		tb.Fatal(err)
	}
	raw, err := base64.RawURLEncoding.DecodeString(whole.Response[part].(string))
	if err != nil {
		tb.Fatal(err)
	}
	change(raw)
	whole.Response[part] = encoded(raw)
	id, err := base64.RawURLEncoding.DecodeString(whole.ID)
	if err != nil {
		tb.Fatal(err)
	}
	return answer(tb, id, whole.Response)
}

// Devices that do not count say 0 always.
func TestDeviceThatDoesNotCount(t *testing.T) {
	k := enterKeyed(t)
	for range 2 {
		k.in(k.signIn(k.device))
	}
}

func TestQuestionCountsOnce(t *testing.T) {
	k := enterKeyed(t)
	ctx := context.Background()
	const late = "asked too long ago, or has answered already"
	ask := func() (json.RawMessage, string) {
		t.Helper()
		k.now.Move(time.Minute)
		options, shown, err := k.keys.AskToSignIn(bench7)
		if err != nil {
			t.Fatal(err)
		}
		return options, shown
	}
	options, shown := ask()
	right := k.device.sign(t, options)
	k.in(k.keys.SignIn(ctx, shown, right, bench7))
	for _, again := range []string{shown, "", "x"} {
		_, err := k.keys.SignIn(ctx, again, right, bench7)
		refuses(t, err, fault.Invalid, late)
	}
	_, other := ask()
	k.out(k.keys.SignIn(ctx, other, right, bench7))("the passkey is not right") // the answer to an earlier question

	options, shown = ask()
	k.now.Move(5*time.Minute - time.Microsecond)
	k.in(k.keys.SignIn(ctx, shown, k.device.sign(t, options), bench7))
	options, shown = ask()
	k.now.Move(5 * time.Minute)
	_, err := k.keys.SignIn(ctx, shown, k.device.sign(t, options), bench7)
	refuses(t, err, fault.Invalid, late)

	// A question for one thing is none for another.
	token := k.in(k.signIn(k.device)).Token
	if options, err = k.keys.AskToUnlock(ctx, token); err != nil {
		t.Fatal(err)
	}
	_, err = k.keys.SignIn(ctx, token, k.device.sign(t, options), bench7)
	refuses(t, err, fault.Invalid, late)
	_, err = k.keys.Add(ctx, token, newDevice(t).register(t, options))
	refuses(t, err, fault.Invalid, late)

	// Many at once get one session.
	options, shown = ask()
	text := k.device.sign(t, options)
	var wg sync.WaitGroup
	passes := make(chan identity.Pass, 8)
	for i := range cap(passes) {
		wg.Go(func() {
			if p, err := k.keys.SignIn(ctx, shown, text, identity.Source{Address: fmt.Sprint(i)}); err == nil {
				passes <- p
			} else if _, ok := errors.AsType[*fault.Error](err); !ok {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if len(passes) != 1 {
		t.Errorf("one answer opened %d sessions", len(passes))
	}
}

// The oldest question gives way to a new one when there are too many; that they are is tested beside Passkeys.
func TestTheOldestQuestionGivesWay(t *testing.T) {
	k := enterKeyed(t)
	ctx := context.Background()
	var first, last string
	var options json.RawMessage
	for i := range 10_001 {
		o, shown, err := k.keys.AskToSignIn(identity.Source{Address: fmt.Sprintf("10.0.%d.%d", i>>8, i&255)})
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = shown
			k.now.Move(time.Second)
		}
		options, last = o, shown
	}
	_, err := k.keys.SignIn(ctx, first, k.device.sign(t, options), bench7)
	refuses(t, err, fault.Invalid, "asked too long ago")
	k.in(k.keys.SignIn(ctx, last, k.device.sign(t, options), bench7))
}

func TestQuestionsAreThrottled(t *testing.T) {
	k := enterKeyed(t)
	k.now.Move(time.Hour)
	for range access.BucketSize {
		if _, _, err := k.keys.AskToSignIn(bench7); err != nil {
			t.Fatal(err)
		}
	}
	_, _, err := k.keys.AskToSignIn(bench7)
	k.out(identity.Pass{}, err)("too many attempts; the next one is heard in 3 s")
	if _, _, err := k.keys.AskToSignIn(identity.Source{Address: "192.0.2.8"}); err != nil {
		t.Errorf("from elsewhere: %v", err)
	}
}

func TestPasskeyOfClosedAccounts(t *testing.T) {
	t.Run("disabled", func(t *testing.T) {
		k := enterKeyed(t)
		k.done(k.door.Disable(context.Background(), byA, "T-01"))
		k.out(k.signIn(k.device))("the passkey is not right")
		k.done(k.door.Enable(context.Background(), byA, "T-01"))
		k.now.Move(time.Minute)
		k.in(k.signIn(k.device))
	})
	t.Run("after a reset", func(t *testing.T) {
		k := enterKeyed(t)
		if _, _, err := k.door.Reset(context.Background(), byA, "T-01"); err != nil {
			t.Fatal(err)
		}
		k.out(k.signIn(k.device))("the passkey is not right")
	})
	t.Run("after a hundred failures", func(t *testing.T) {
		k := enterKeyed(t)
		for i := range access.MostFailures {
			k.now.Move(time.Minute)
			k.out(k.door.SignIn(context.Background(), "T-01", other, identity.Source{Address: fmt.Sprint(i)}))("is not right")
		}
		k.now.Move(time.Hour)
		k.out(k.signIn(k.device))("closed after 100 failed attempts")
	})
	t.Run("somebody else has set the password", func(t *testing.T) {
		k := enterKeyed(t)
		k.done(k.door.SetPassword(context.Background(), byA, "T-01", other))
		if p := k.in(k.signIn(k.device)); !p.Account.MustChange {
			t.Error("a passkey is a way around choosing a password")
		}
	})
}

func TestUnlockWithPasskey(t *testing.T) {
	k := enterKeyed(t)
	ctx := context.Background()
	lock := func() {
		t.Helper()
		if err := k.door.Lock(ctx, k.token); err != nil {
			t.Fatal(err)
		}
	}
	unlock := func(d *device) (identity.Pass, error) {
		t.Helper()
		options, err := k.keys.AskToUnlock(ctx, k.token)
		if err != nil {
			t.Fatal(err)
		}
		return k.keys.Unlock(ctx, k.token, d.sign(t, options), bench7)
	}
	lock()
	k.now.Move(10 * time.Minute)
	before := k.token
	p := k.in(unlock(k.device))
	if k.token = p.Token; k.visit(before).State != access.Expired || !k.visit(k.token).Session.MaySign(k.now.At()) {
		t.Error("the session has its old token, or nobody has shown who they are")
	}
	// It also shows anew who the person of an open session is.
	k.now.Move(10 * time.Minute)
	if k.token = k.in(unlock(k.device)).Token; !k.visit(k.token).Session.MaySign(k.now.At()) {
		t.Error("nobody has shown who they are")
	}
	// Browsers need not name the account when it is known.
	without := *k.device
	without.handle = nil
	k.token = k.in(unlock(&without)).Token

	// Somebody else's passkey does not open it.
	theirs := newDevice(t)
	p = k.in(k.door.SignIn(ctx, "A-01", right, bench7))
	options, p, err := k.keys.AskToAdd(ctx, p.Token, right, "red key", bench7)
	k.done(k.keys.Add(ctx, k.in(p, err).Token, theirs.register(t, options)))
	lock()
	k.out(unlock(theirs))("the passkey is not right")
	if k.visit(k.token).State != access.Locked {
		t.Error("the session is not locked any more")
	}
	_, err = k.keys.AskToUnlock(ctx, "x")
	refuses(t, err, fault.Invalid, "the session has ended")

	k.now.Move(time.Minute)
	options, err = k.keys.AskToUnlock(ctx, k.token)
	if err != nil {
		t.Fatal(err)
	}
	if err := k.door.SignOut(ctx, k.token); err != nil {
		t.Fatal(err)
	}
	_, err = k.keys.Unlock(ctx, k.token, k.device.sign(t, options), bench7)
	refuses(t, err, fault.Invalid, "the session has ended")
}

func TestUnlockWithoutPasskey(t *testing.T) {
	l := enter(t)
	p := l.in(l.door.SignIn(context.Background(), "T-01", right, bench7))
	_, err := keysAt(t, l, "https://pc-7.example").AskToUnlock(context.Background(), p.Token)
	refuses(t, err, fault.NotFound, "T-01 has no passkey")
}

func TestRefusedPasskeys(t *testing.T) {
	k := enterKeyed(t)
	ctx := context.Background()
	ask := func(password, name string) (json.RawMessage, error) {
		t.Helper()
		k.now.Move(2 * time.Minute)
		k.token = k.in(k.door.SignIn(ctx, "T-01", right, bench7)).Token
		options, p, err := k.keys.AskToAdd(ctx, k.token, password, name, bench7)
		if err == nil {
			k.token = p.Token
		}
		return options, err
	}
	for name, test := range map[string]struct{ password, label, want string }{
		"wrong password": {other, "n", "the password is not right"},
		"the PIN":        {pin, "n", "the password is not right"},
		"no name":        {right, " ", "give the passkey a name"},
		"a long name":    {right, strings.Repeat("ä", 61), "give the passkey a name"},
	} {
		if _, err := ask(test.password, test.label); err == nil || !strings.Contains(err.Error(), test.want) {
			t.Errorf("%s: %v, want %q", name, err, test.want)
		}
	}
	for name, spoil := range map[string]func(*device){
		"another site":                func(d *device) { d.origin = "https://other.example" },
		"another host":                func(d *device) { d.host = "other.example" },
		"nobody checked who holds it": func(d *device) { d.flags = userPresent },
	} {
		options, err := ask(right, "n")
		if err != nil {
			t.Fatal(err)
		}
		d := newDevice(t)
		spoil(d)
		_, err = k.keys.Add(ctx, k.token, d.register(t, options))
		if denied, ok := errors.AsType[*identity.DeniedError](err); !ok || denied.Cause == nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ask(right, strings.Repeat("ä", 60)); err != nil {
		t.Fatal(err)
	}
	if _, err := k.keys.Add(ctx, k.token, []byte("{}")); err == nil {
		t.Error("no answer is taken for one")
	}
	options, err := ask(right, "n")
	if err != nil {
		t.Fatal(err)
	}
	_, err = k.keys.Add(ctx, k.token, k.device.register(t, options)) // the browser should have refused
	refuses(t, err, fault.Conflict, "stored already")

	// What locks or ends meanwhile adds nothing.
	options, err = ask(right, "n")
	if err != nil {
		t.Fatal(err)
	}
	if err := k.door.Lock(ctx, k.token); err != nil {
		t.Fatal(err)
	}
	_, err = k.keys.Add(ctx, k.token, newDevice(t).register(t, options))
	refuses(t, err, fault.Invalid, "the session is locked")

	if n := len(k.passkeys()); n != 1 {
		t.Fatalf("there are %d passkeys", n)
	}
	k.now.Move(time.Hour)
	k.token = k.in(k.door.SignIn(ctx, "T-01", right, bench7)).Token
	for i := range 19 {
		k.now.Move(10 * time.Second)
		k.give(newDevice(t), fmt.Sprint(i))
	}
	_, err = ask(right, "one more")
	refuses(t, err, fault.Conflict, "T-01 has 20 passkeys")
}

func TestRemovePasskey(t *testing.T) {
	k := enterKeyed(t)
	ctx := context.Background()
	id := k.passkeys()[0].ID
	p := k.in(k.door.SignIn(ctx, "A-01", right, bench7))
	_, err := k.door.RemovePasskey(ctx, p.Token, right, id, bench7)
	refuses(t, err, fault.NotFound, "A-01 has no such passkey")
	k.out(k.door.RemovePasskey(ctx, k.token, pin, id, bench7))("the password is not right")
	k.out(k.door.RemovePasskey(ctx, k.token, other, id, bench7))("the password is not right")
	if len(k.passkeys()) != 1 {
		t.Error("the passkey is gone")
	}
}

// The name of the account on the device stays, so that a new key takes the place of the old one there.
func TestHandleStays(t *testing.T) {
	k := enterKeyed(t)
	before := k.device.handle
	k.token = k.in(k.door.RemovePasskey(context.Background(), k.token, right, k.passkeys()[0].ID, bench7)).Token
	d := newDevice(t)
	k.give(d, "n")
	if !bytes.Equal(before, d.handle) {
		t.Error("the account has another name")
	}
}

func TestWherePasskeysCount(t *testing.T) {
	l := enter(t)
	for address, want := range map[string]bool{
		"http://localhost:8420":           true,
		"http://rinsate.localhost":        true,
		"https://localhost":               true,
		"https://pc-7.example/rinsate":    true,
		"https://PC-7.Example:8443":       true,
		"http://pc-7.example":             false, // no browser has passkeys without TLS
		"http://127.0.0.1:8420":           false,
		"https://192.0.2.7":               false,
		"https://[2001:db8::7]:8443":      false,
		"https://pc-7":                    false, // may be another machine tomorrow
		"https://krankenhaus-süd.example": false, // has to be written as browsers do
	} {
		if got := keysAt(t, l, address) != nil; got != want {
			t.Errorf("%s: %t", address, got)
		}
	}
	var none *passkey.Passkeys
	if none.Counts(store.Passkey{}) {
		t.Error("a passkey counts where there are none")
	}
}

// The origin is what a browser makes of the address: small letters, no port that goes without saying.
func TestOriginOfPasskeys(t *testing.T) {
	k := enterKeyed(t)
	for address, origin := range map[string]string{
		"https://PC-7.Example:443/rinsate": "https://pc-7.example",
		"https://pc-7.example":             "https://pc-7.example",
		"https://pc-7.example:80":          "https://pc-7.example:80",
	} {
		k.keys, k.device.origin = keysAt(t, k.lobby, address), origin
		k.in(k.signIn(k.device))
	}
	// When the pages move, passkeys from before stay where they were.
	k.keys = keysAt(t, k.lobby, "https://new.example")
	moved := *k.device
	moved.host, moved.origin = "new.example", "https://new.example"
	k.out(k.signIn(&moved))("the passkey is not right")
	if _, err := k.keys.AskToUnlock(context.Background(), k.token); err == nil {
		t.Error("a passkey of another address opens the session")
	}
}

// refuses wants an error with a code and these words in it.
func refuses(tb testing.TB, err error, code fault.Code, want string) {
	tb.Helper()
	if e, ok := errors.AsType[*fault.Error](err); !ok || e.Code != code || !strings.Contains(e.Message, want) {
		tb.Errorf("got %v\nwant %q with %q", err, code, want)
	}
}
