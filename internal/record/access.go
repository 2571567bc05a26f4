package record

import (
	"encoding/json"

	"rinsate/internal/base/text"
	"rinsate/internal/domain/access"
)

// AccessBody is what somebody may do here from then on. It names the code and never the person.
type AccessBody struct {
	Code string `json:"code"`
	// Change is what was done to the account.
	Change   AccessChange  `json:"change"`
	Roles    []access.Role `json:"roles"`
	Disabled bool          `json:"disabled,omitempty"`
	// Second is who else signed the change.
	Second string `json:"second,omitempty"`
}

// AccessChange is what was done to an account.
type AccessChange string

// The changes. They are part of the ledger for ever: never rename or reuse one, only add.
const (
	AccountAdded    AccessChange = "added"
	RolesChanged    AccessChange = "roles"
	PasswordChanged AccessChange = "password"
	PINChanged      AccessChange = "pin"
	BadgeChanged    AccessChange = "badge"
	AccountDisabled AccessChange = "disabled"
	AccountEnabled  AccessChange = "enabled"
	AccountReset    AccessChange = "reset" // no password, PIN or passkey any more; a one-time code was given out
	PasskeyAdded    AccessChange = "passkey-added"
	PasskeyRemoved  AccessChange = "passkey-removed"
)

// Access records what somebody may do from then on, and what was done to the account.
const Access Kind = "access"

var accessGiven = describe(kind[AccessBody]{
	kind: Access, means: "what somebody may do from then on, and what was done to the account",
	key: "code", version: 2, older: []Reader{accessByOne},
	fields: []Field{
		found("code", "", ByPerson), plain("change", "what was done"), plain("roles", "roles"), plain("disabled", "disabled"),
		found("second", "second person", ByPerson),
	},
	words: func(a AccessBody) string {
		return listed(a.Code, text.Spaced(a.Change), access.Words(a.Roles))
	},
	kept:    fromOthers,
	example: AccessBody{Code: "T-01", Change: AccountAdded, Roles: []access.Role{access.Technician}},
})

// accessByOne reads version 1, whose changes nobody signed besides.
func accessByOne(body json.RawMessage) (json.RawMessage, error) { return body, nil }
