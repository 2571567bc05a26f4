package demo

import (
	"context"

	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// Account is one of the invented people who can sign in to the invented hospital.
type Account struct {
	Code, Name, Password, PIN, Badge string
	Roles                            []access.Role
}

// Accounts are one person for every role, and two technicians who share a bench. Everybody knows their
// secrets: the demo is served to its own machine only.
var Accounts = []Account{
	{"T-01", "First technician", "rinsed by lunch on mondays", "4826", "BADGE-T-01", []access.Role{access.Technician}},
	{"T-02", "Second technician", "two brushes and a kettle", "7391", "BADGE-T-02", []access.Role{access.Technician}},
	{"L-01", "Lead", "morning list before coffee", "6158", "BADGE-L-01", []access.Role{access.Lead}},
	{"H-01", "Infection prevention", "count them and ask again", "", "", []access.Role{access.InfectionPrevention}},
	{"N-01", "Procedure room", "door opens to the corridor", "", "", []access.Role{access.ProcedureRoom}},
	{"Q-01", "Analyst", "median over a slow river", "", "", []access.Role{access.Analyst}},
	{"V-01", "Auditor", "every page has a number", "", "", []access.Role{access.Auditor}},
	{"A-01", "Administrator", "keys hang behind the door", "", "", []access.Role{access.Administrator}},
}

// AddAccounts makes the accounts.
func AddAccounts(ctx context.Context, door *identity.Door) error {
	for _, a := range Accounts {
		e := identity.Entry{Actor: access.Operator(a.Code)}
		if _, _, err := door.AddAccount(ctx, e, identity.NewAccount{Code: a.Code, Name: a.Name, Roles: a.Roles, Password: a.Password}); err != nil {
			return err
		}
		if a.PIN == "" {
			continue
		}
		if _, err := door.SetPIN(ctx, e, a.Code, a.PIN); err != nil {
			return err
		}
		if _, err := door.SetBadge(ctx, e, a.Code, a.Badge); err != nil {
			return err
		}
	}
	return nil
}
