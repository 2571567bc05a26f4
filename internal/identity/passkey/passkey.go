// Package passkey lets people show a device instead of typing a password, on top of package identity. It
// is apart so that only what serves pages links the library for it. Read Passkeys first.
package passkey

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Passkeys is the part of the door for people who show a device instead of typing (Web Authentication
// Level 2, W3C Recommendation 2021). A device is asked with AskToAdd, AskToSignIn or AskToUnlock, which
// return what its browser needs, and its answer goes to Add, SignIn or Unlock. A question counts once and
// for five minutes. The device always checks who holds it, by a finger, a face or a PIN of its own, so that
// a passkey is two factors; where it comes from is not asked (no attestation).
type Passkeys struct {
	door    *identity.Door
	library *webauthn.WebAuthn
	host    string

	mu sync.Mutex
	// asked holds the open questions, by the digest of what the browser shows with the answer.
	asked map[string]question
}

// question is what is kept of a question until the device has answered.
type question struct {
	session webauthn.SessionData
	ends    unit.Instant
	// code and name are those of a passkey that is added.
	code, name string
}

// Limits of passkeys. Five minutes is what Web Authentication Level 2 section 15.1 recommends for a device
// that checks who holds it (from memory); the others are common practice.
const (
	questionHolds = 5 * time.Minute
	// mostQuestions bounds the memory that strangers can make the program use.
	mostQuestions = 10_000
	// mostPasskeys bounds the passkeys of an account, longestLabel their names, in characters.
	mostPasskeys = 20
	longestLabel = 60
	// longestDetail bounds what the log gets to know of a wrong answer, in bytes.
	longestDetail = 200
	// handleBytes is the length of what passkeys call an account by.
	handleBytes = 32
)

// Kinds of questions: an answer to one is none to another.
const (
	toSignIn = "passkey-sign-in"
	toUnlock = "passkey-unlock"
	toAdd    = "passkey-add"
)

// ErrCounter is the cause of a denial when a device counts its uses and has counted no further: there may
// be a copy of it (Web Authentication Level 2 section 6.1.1).
var ErrCounter = errors.New("the counter of the passkey did not go up: there may be a copy of it")

// New returns the passkeys of pages that live under an address, for people who come in by a door; nil where no browser has any: by
// an IP address, by a name of one part other than localhost, and without TLS on any other than this computer.
func New(d *identity.Door, base *url.URL) (*Passkeys, error) {
	host, port := strings.ToLower(base.Hostname()), base.Port()
	if !havePasskeys(base.Scheme, host) {
		return nil, nil
	}
	origin := base.Scheme + "://" + host
	if port != "" && port != map[string]string{"http": "80", "https": "443"}[base.Scheme] {
		origin += ":" + port
	}
	wait := webauthn.TimeoutConfig{Timeout: questionHolds, TimeoutUVD: questionHolds}
	library, err := webauthn.New(&webauthn.Config{
		RPID: host, RPDisplayName: d.Site().Name, RPOrigins: []string{origin}, AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{
			RequireResidentKey: protocol.ResidentKeyRequired(),
			ResidentKey:        protocol.ResidentKeyRequirementRequired,
			UserVerification:   protocol.VerificationRequired,
		},
		Timeouts: webauthn.TimeoutsConfig{Login: wait, Registration: wait},
		// Some browsers and their extensions say more than they were asked; nothing of it is used.
		ExtensionsUnsolicitedOutputPolicy: protocol.UnsolicitedOutputPolicyIgnore,
	})
	if err != nil {
		return nil, fmt.Errorf("passkeys for %s: %w", origin, err)
	}
	return &Passkeys{door: d, library: library, host: host, asked: map[string]question{}}, nil
}

// havePasskeys says whether browsers have passkeys at an address.
func havePasskeys(scheme, host string) bool {
	here := host == "localhost" || strings.HasSuffix(host, ".localhost")
	return (scheme == "https" || here) && protocol.ValidateRPID(host) == nil
}

// Counts says whether a passkey counts at the address of these pages.
func (k *Passkeys) Counts(p store.Passkey) bool { return k != nil && p.Host == k.host }

// keep keeps a question until it is answered. When there are too many, the oldest is forgotten.
func (k *Passkeys) keep(kind, shown string, q question) {
	now := k.door.Now()
	q.ends = now.Add(questionHolds)
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.asked) >= mostQuestions {
		oldest, first := "", q.ends
		for key, one := range k.asked {
			if one.ends <= now {
				delete(k.asked, key)
			} else if one.ends <= first {
				oldest, first = key, one.ends
			}
		}
		if len(k.asked) >= mostQuestions {
			delete(k.asked, oldest)
		}
	}
	k.asked[access.Digest(kind, shown)] = q
}

// take returns the question that an answer is to, which counts no more from then on.
func (k *Passkeys) take(kind, shown string) (question, error) {
	key := access.Digest(kind, shown)
	k.mu.Lock()
	defer k.mu.Unlock()
	q, ok := k.asked[key]
	delete(k.asked, key)
	if !ok || shown == "" || q.ends <= k.door.Now() {
		return question{}, &fault.Error{
			Code:    fault.Invalid,
			Message: "the device was asked too long ago, or has answered already",
			Hint:    fmt.Sprintf("try again; there are %d minutes for it", int(questionHolds.Minutes())),
		}
	}
	return q, nil
}

// holder is an account as the library sees it.
type holder struct {
	store.Account
	handle []byte
	keys   []store.Passkey
}

func (h holder) WebAuthnID() []byte { return h.handle }

func (h holder) WebAuthnName() string { return h.Code }

func (h holder) WebAuthnDisplayName() string { return h.Name }

func (h holder) WebAuthnCredentials() []webauthn.Credential {
	list := make([]webauthn.Credential, len(h.keys))
	for i, p := range h.keys {
		list[i].ID, _ = base64.RawURLEncoding.DecodeString(p.ID) // written by newPasskey
		list[i].PublicKey = p.Key
		list[i].Flags = webauthn.NewCredentialFlags(protocol.AuthenticatorFlags(p.Flags))
		list[i].Authenticator.SignCount = p.Counter
		for _, t := range p.Transports {
			list[i].Transport = append(list[i].Transport, protocol.AuthenticatorTransport(t))
		}
	}
	return list
}

// holder reads an account with those of its passkeys that count here.
func (k *Passkeys) holder(tx *store.Tx, a store.Account) (h holder, err error) {
	h.Account = a
	text, err := tx.Access().Handle(a.Code)
	if err != nil {
		return h, err
	}
	if h.handle, err = base64.RawURLEncoding.DecodeString(text); err != nil {
		return h, fmt.Errorf("the handle of %s: %w", a.Code, err)
	}
	h.keys, err = tx.Access().Passkeys(a.Code)
	h.keys = slices.DeleteFunc(h.keys, func(p store.Passkey) bool { return !k.Counts(p) })
	return h, err
}

// AskToSignIn begins to let somebody in, whoever it is. shown is what the browser shows with the answer.
func (k *Passkeys) AskToSignIn(from identity.Source) (options json.RawMessage, shown string, err error) {
	if wait := k.door.Admit(from.Address); wait > 0 {
		return nil, "", &identity.DeniedError{What: "passkey", Wait: wait}
	}
	if shown, err = access.NewToken(rand.Reader); err != nil {
		return nil, "", err
	}
	asked, session, err := k.library.BeginDiscoverableLogin()
	if err != nil {
		return nil, "", fmt.Errorf("ask for a passkey: %w", err)
	}
	if options, err = json.Marshal(asked.Response); err != nil {
		return nil, "", err
	}
	k.keep(toSignIn, shown, question{session: *session})
	return options, shown, nil
}

// SignIn begins a session with the answer of a device.
func (k *Passkeys) SignIn(ctx context.Context, shown string, answer []byte, from identity.Source) (p identity.Pass, err error) {
	q, err := k.take(toSignIn, shown)
	if err != nil {
		return p, err
	}
	t, err := k.try(q, answer, from)
	if err != nil {
		return p, err
	}
	return k.door.SignInBy(ctx, t.proof(""), from)
}

// AskToUnlock begins to open the session of a token again with a passkey of the same person.
func (k *Passkeys) AskToUnlock(ctx context.Context, token string) (options json.RawMessage, err error) {
	var h holder
	if err := k.door.Read(ctx, func(tx *store.Tx) error {
		visit, err := identity.On(tx).Visit(token)
		if err != nil {
			return err
		}
		if visit.State == access.Expired {
			return identity.NotSignedIn(visit.State)
		}
		h, err = k.holder(tx, visit.Account)
		return err
	}); err != nil {
		return nil, err
	}
	if len(h.keys) == 0 {
		return nil, fault.NotFoundf("use the PIN or the password", "%s has no passkey for this address", h.Code)
	}
	asked, session, err := k.library.BeginLogin(h)
	if err != nil {
		return nil, fmt.Errorf("ask for a passkey: %w", err)
	}
	if options, err = json.Marshal(asked.Response); err != nil {
		return nil, err
	}
	k.keep(toUnlock, token, question{session: *session})
	return options, nil
}

// Unlock opens a locked session again, or shows anew who the person of an active one is, with the answer
// of a device.
func (k *Passkeys) Unlock(ctx context.Context, token string, answer []byte, from identity.Source) (p identity.Pass, err error) {
	q, err := k.take(toUnlock, token)
	if err != nil {
		return p, err
	}
	t, err := k.try(q, answer, from)
	if err != nil {
		return p, err
	}
	return k.door.UnlockBy(ctx, token, func(a store.Account) identity.Proof { return t.proof(a.Code) }, from)
}

// trial is one answer of a device while it is judged.
type trial struct {
	keys     *Passkeys
	question question
	answer   *protocol.ParsedCredentialAssertionData
	id       string
	// who is as it was last read, and seen the passkey as it was when the answer was judged.
	who  holder
	seen store.Passkey
	// used is the passkey after a right answer.
	used *webauthn.Credential
}

// try reads the answer of a device to a question.
func (k *Passkeys) try(q question, answer []byte, from identity.Source) (*trial, error) {
	parsed, err := protocol.ParseCredentialRequestResponseBytes(answer)
	if err != nil {
		// Whoever sends such answers gets no further, but as slowly as others.
		wait := k.door.Admit(from.Address)
		return nil, &identity.DeniedError{What: "passkey", Wait: wait, Cause: detailed(err)}
	}
	return &trial{keys: k, question: q, answer: parsed, id: base64.RawURLEncoding.EncodeToString(parsed.RawID)}, nil
}

// proof returns the attempt to show who somebody is; with a code it must be the person of that account.
func (t *trial) proof(code string) identity.Proof {
	return identity.Proof{
		What: "passkey", Way: access.ByPasskey, Stranger: access.Digest("passkey", t.id),
		Find: func(tx *store.Tx) (store.Account, bool, error) {
			t.who = holder{}
			p, ok, err := tx.Access().Passkey(t.id)
			if err != nil || !ok || code != "" && p.Code != code {
				return store.Account{}, false, err
			}
			a, ok, err := tx.Access().Account(p.Code)
			if err != nil || !ok {
				return a, false, err
			}
			t.who, err = t.keys.holder(tx, a)
			return a, true, err
		},
		Fault: func() error {
			err := t.judge()
			if err != nil && t.who.Code != "" {
				err = fmt.Errorf("passkey of %s: %w", t.who.Code, err)
			}
			return err
		},
		Use: t.use,
	}
}

// judge says why an answer is not right.
func (t *trial) judge() (err error) {
	i := slices.IndexFunc(t.who.keys, func(p store.Passkey) bool { return p.ID == t.id })
	if i < 0 {
		return errors.New("the passkey is not known")
	}
	t.seen = t.who.keys[i]
	if len(t.question.session.UserID) > 0 {
		t.used, err = t.keys.library.ValidateLogin(t.who, t.question.session, t.answer)
	} else {
		_, t.used, err = t.keys.library.ValidatePasskeyLogin(func(_, _ []byte) (webauthn.User, error) { return t.who, nil }, t.question.session, t.answer)
	}
	if err != nil {
		return detailed(err)
	}
	if t.used.Authenticator.CloneWarning {
		return ErrCounter
	}
	return nil
}

// use notes that the passkey was used, unless it has changed since the answer was judged.
func (t *trial) use(tx *store.Tx, _ *store.Account) error {
	if !slices.ContainsFunc(t.who.keys, func(p store.Passkey) bool { return p.ID == t.id && p.Counter == t.seen.Counter }) {
		return &identity.DeniedError{What: "passkey"}
	}
	return tx.Access().UsePasskey(t.id, t.used.Authenticator.SignCount, byte(t.used.Flags.ProtocolValue()), tx.Now)
}

// detailed returns an error of the library with what it keeps apart.
func detailed(err error) error {
	if e, ok := errors.AsType[*protocol.Error](err); ok && e.DevInfo != "" {
		return fmt.Errorf("%w (%s)", err, strings.ToValidUTF8(e.DevInfo[:min(len(e.DevInfo), longestDetail)], ""))
	}
	return err
}

// AskToAdd begins to add a passkey to the account of whoever has signed in, who shows the password for it.
// name is what the person calls the passkey.
func (k *Passkeys) AskToAdd(ctx context.Context, token, password, name string, from identity.Source) (options json.RawMessage, p identity.Pass, err error) {
	name = strings.TrimSpace(name)
	if length := utf8.RuneCountInString(name); length == 0 || length > longestLabel || !utf8.ValidString(name) {
		return nil, p, fault.Invalidf("give the passkey a name of 1 to %d characters, by which you know the device", longestLabel)
	}
	q := question{name: name}
	p, err = k.door.ProveByPassword(ctx, token, password, from, func(tx *store.Tx, a *store.Account) error {
		h, err := k.newHolder(tx, *a)
		if err != nil {
			return err
		}
		asked, session, err := k.library.BeginRegistration(h, webauthn.WithExclusions(webauthn.Credentials(h.WebAuthnCredentials()).CredentialDescriptors()))
		if err != nil {
			return fmt.Errorf("ask for a passkey: %w", err)
		}
		q.session, q.code = *session, a.Code
		options, err = json.Marshal(asked.Response)
		return err
	})
	if err != nil {
		return nil, identity.Pass{}, err
	}
	k.keep(toAdd, p.Token, q)
	return options, p, nil
}

// newHolder reads an account that is given another passkey.
func (k *Passkeys) newHolder(tx *store.Tx, a store.Account) (h holder, err error) {
	all, err := tx.Access().Passkeys(a.Code)
	if err != nil {
		return h, err
	}
	if len(all) >= mostPasskeys {
		return h, &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s has %d passkeys", a.Code, len(all)), Hint: "remove one first"}
	}
	if h, err = k.holder(tx, a); err != nil || len(h.handle) > 0 {
		return h, err
	}
	h.handle = make([]byte, handleBytes)
	rand.Read(h.handle) // never fails
	return h, tx.Access().SaveHandle(a.Code, base64.RawURLEncoding.EncodeToString(h.handle))
}

// Add adds the passkey that a device has made to the account of whoever has signed in.
func (k *Passkeys) Add(ctx context.Context, token string, answer []byte) (r identity.Receipt, err error) {
	q, err := k.take(toAdd, token)
	if err != nil {
		return r, err
	}
	parsed, err := protocol.ParseCredentialCreationResponseBytes(answer)
	if err != nil {
		return r, &identity.DeniedError{What: "answer of the device", Cause: detailed(err)}
	}
	made, err := k.library.CreateCredential(holder{handle: q.session.UserID}, q.session, parsed)
	if err != nil {
		return r, &identity.DeniedError{What: "answer of the device", Cause: detailed(err)}
	}
	err = k.door.Write(ctx, func(tx *store.Tx) error {
		v, err := identity.On(tx).Visit(token)
		if err != nil {
			return err
		}
		if v.State != access.Active || v.Account.Code != q.code {
			return identity.NotSignedIn(v.State)
		}
		if err := tx.Access().AddPasskey(k.newPasskey(q, made, tx.Now)); err != nil {
			return err
		}
		r, err = identity.RecordAccess(tx, "", q.code, v.Account, record.PasskeyAdded)
		return err
	})
	return r, err
}

// newPasskey returns what is kept of a passkey.
func (k *Passkeys) newPasskey(q question, made *webauthn.Credential, now unit.Instant) store.Passkey {
	p := store.Passkey{
		ID: base64.RawURLEncoding.EncodeToString(made.ID), Code: q.code, Name: q.name, Host: k.host, Key: made.PublicKey,
		Flags: byte(made.Flags.ProtocolValue()), Counter: made.Authenticator.SignCount, Added: now,
	}
	for _, t := range made.Transport {
		p.Transports = append(p.Transports, string(t))
	}
	return p
}
