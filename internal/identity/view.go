package identity

import (
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// View is what can be asked about accounts, as they stand in one transaction.
type View struct{ tx *store.Tx }

// On returns what can be asked in a transaction.
func On(tx *store.Tx) View { return View{tx} }

// Visit reads who a token stands for. It is no error when there is no such session: its State is
// access.Expired then.
func (v View) Visit(token string) (Visit, error) {
	none := Visit{State: access.Expired}
	if token == "" {
		return none, nil
	}
	s, ok, err := v.tx.Access().Session(tokenDigest(token))
	if err != nil || !ok || s.State(v.tx.Now) == access.Expired {
		return none, err
	}
	a, ok, err := v.tx.Access().Account(s.Code)
	if err != nil || !ok || a.Disabled.Known() {
		return none, err
	}
	return Visit{State: s.State(v.tx.Now), Account: a, Session: s}, nil
}

// Account returns an account by its code, NotFound when there is none.
func (v View) Account(code string) (store.Account, error) {
	a, ok, err := v.tx.Access().Account(code)
	if err == nil && !ok {
		err = fault.NotFoundf("see the accounts with: rinsate user list", "there is no account %q", code)
	}
	return a, err
}

// Accounts returns all accounts in the order of their codes.
func (v View) Accounts() ([]store.Account, error) { return v.tx.Access().Accounts() }

// Sessions returns the sessions of an account that have not ended, the latest first.
func (v View) Sessions(code string) ([]store.Session, error) {
	a, err := v.Account(code)
	if err != nil {
		return nil, err
	}
	all, err := v.tx.Access().Sessions(a.Code)
	return slices.DeleteFunc(all, func(s store.Session) bool { return s.State(v.tx.Now) == access.Expired }), err
}

// Granted is one change of what somebody may do, as it is on record.
type Granted struct {
	record.AccessBody
	By string       `json:"by"`
	At unit.Instant `json:"at"`
}

// Grants returns who gave or took which roles from a code, the earliest first.
func (v View) Grants(code string) ([]Granted, error) {
	all, err := v.AllGrants()
	return all[access.Key(code)], err
}

// AllGrants returns the grants of every code, by its key, the earliest first.
func (v View) AllGrants() (map[string][]Granted, error) {
	all, err := v.tx.Entities(record.Access)
	if err != nil {
		return nil, err
	}
	granted := map[string][]Granted{}
	for _, kept := range all {
		body, err := record.Body[record.AccessBody](kept.Record)
		if err != nil {
			return nil, err
		}
		key := access.Key(body.Code)
		granted[key] = append(granted[key], Granted{body, kept.By, kept.At})
	}
	return granted, nil
}

// Passkeys returns the passkeys of an account, the oldest first.
func (v View) Passkeys(code string) ([]store.Passkey, error) { return v.tx.Access().Passkeys(code) }
