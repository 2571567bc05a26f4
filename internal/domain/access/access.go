// Package access answers who may do what, and how a person shows who they are: roles and
// permissions, passwords and PINs, how fast guesses may come, and when a session locks or ends.
//
// Everything here is a function of its arguments: the clock, the recorded failures and the source of
// randomness come from the caller. Read Allows first, then CheckPassword and Hash, then State.
package access

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// ErrArgument is what every refusal of an argument wraps.
var ErrArgument = errors.New("not allowed")

// Role is a kind of work that somebody does here. A person may have several; what the roles allow
// adds up.
type Role string

// The roles. They are written into the ledger: never rename or reuse one, only add.
const (
	Technician          Role = "technician"           // cleans, samples and reads
	Lead                Role = "lead"                 // answers for the reprocessing room
	InfectionPrevention Role = "infection-prevention" // investigates, sets limits, looks back to patients
	ProcedureRoom       Role = "procedure-room"       // asks whether a scope may be used
	Analyst             Role = "analyst"              // studies the numbers
	Auditor             Role = "auditor"              // checks what was done, and does nothing
	Administrator       Role = "administrator"        // looks after accounts and the fleet
)

// Roles lists every role.
var Roles = []Role{Technician, Lead, InfectionPrevention, ProcedureRoom, Analyst, Auditor, Administrator}

// Permission is the right to open some pages or to do one kind of act.
type Permission string

// The permissions.
const (
	SeeRelease Permission = "see-release" // whether a scope may be used, and why not
	SeeBoard   Permission = "see-board"   // the state of every scope, and what is due
	SeeScope   Permission = "see-scope"   // a scope's history
	SeeNumbers Permission = "see-numbers" // charts, rates, sources of variation
	SeeRecords Permission = "see-records" // the ledger and its proofs
	SeeSetUp   Permission = "see-set-up"  // what is registered and which rules hold, with every edition
	// SeePatients reveals what a commitment stands for.
	SeePatients Permission = "see-patients"

	RecordStep     Permission = "record-step" // uses, steps, samples, readings
	PlaceHold      Permission = "place-hold"
	LiftHold       Permission = "lift-hold"
	VoidRecord     Permission = "void-record"
	CheckMeter     Permission = "check-meter"
	Adopt          Permission = "adopt" // rules, levels, limits
	ManageFleet    Permission = "manage-fleet"
	ManageAccounts Permission = "manage-accounts"
	Export         Permission = "export"
)

// Permissions lists every permission.
var Permissions = []Permission{
	SeeRelease, SeeBoard, SeeScope, SeeNumbers, SeeRecords, SeeSetUp, SeePatients,
	RecordStep, PlaceHold, LiftHold, VoidRecord, CheckMeter, Adopt, ManageFleet, ManageAccounts, Export,
}

// permissions is the table of what a role allows, each as little as its work needs (least privilege:
// Saltzer and Schroeder 1975, Proceedings of the IEEE 63(9), section I.A.3). Whoever judges does not
// measure: infection prevention lifts holds and sets limits but records no readings. What makes
// the answer worse anybody records who has a scope in their hands: a procedure room places holds. Whoever hands out
// roles decides nothing about scopes: an administrator sees where the fleet stands, and neither places
// holds nor sees patients. Only infection prevention sees patients, for a look-back. An auditor reads
// and takes copies, so that what is checked stays what it was.
func permissions(r Role) []Permission {
	switch r {
	case Technician:
		return []Permission{SeeRelease, SeeBoard, SeeScope, RecordStep, PlaceHold, CheckMeter}
	case Lead:
		return []Permission{
			SeeRelease, SeeBoard, SeeScope, SeeNumbers, SeeRecords, SeeSetUp,
			RecordStep, PlaceHold, LiftHold, VoidRecord, CheckMeter, Adopt, ManageFleet, Export,
		}
	case InfectionPrevention:
		return []Permission{SeeRelease, SeeBoard, SeeScope, SeeNumbers, SeeRecords, SeeSetUp, SeePatients, PlaceHold, LiftHold, Adopt, Export}
	case ProcedureRoom:
		return []Permission{SeeRelease, PlaceHold}
	case Analyst, Auditor:
		return []Permission{SeeRelease, SeeBoard, SeeScope, SeeNumbers, SeeRecords, SeeSetUp, Export}
	case Administrator:
		return []Permission{SeeRelease, SeeBoard, SeeSetUp, ManageFleet, ManageAccounts}
	}
	return nil
}

// Allows says whether one of the roles has the permission. What is not in the table is denied: no
// role, an unknown role, an unknown or empty permission.
func Allows(roles []Role, p Permission) bool {
	return slices.ContainsFunc(roles, func(r Role) bool { return slices.Contains(permissions(r), p) })
}

// CheckRoles refuses an unknown role and one that is named twice. No role at all is allowed: such a
// person may sign in and sees nothing.
func CheckRoles(roles []Role) error {
	for i, r := range roles {
		if !slices.Contains(Roles, r) {
			return fmt.Errorf("%w: role %q is not known; known are: %s", ErrArgument, r, Words(Roles))
		}
		if slices.Contains(roles[:i], r) {
			return fmt.Errorf("%w: role %q is named twice", ErrArgument, r)
		}
	}
	return nil
}

// ParseRoles reads roles that are separated by commas or spaces; an empty text gives none. They come
// back in the order of Roles, each once.
func ParseRoles(text string) ([]Role, error) {
	var named []Role
	for _, word := range strings.FieldsFunc(text, func(c rune) bool { return c == ',' || c == ' ' }) {
		named = append(named, Role(word))
	}
	sorted := slices.DeleteFunc(slices.Clone(Roles), func(r Role) bool { return !slices.Contains(named, r) })
	for _, r := range named {
		if !slices.Contains(Roles, r) {
			return nil, CheckRoles(named)
		}
	}
	return sorted, nil
}

// RolesOf reads what somebody is from the word that a list of people has for it; a word that is no role's gives none.
func RolesOf(word string) []Role {
	role := Role(strings.ReplaceAll(strings.ToLower(strings.TrimSpace(word)), " ", "-"))
	if !slices.Contains(Roles, role) {
		return nil
	}
	return []Role{role}
}

// Words joins roles or other words by commas.
func Words[T ~string](words []T) string {
	texts := make([]string, len(words))
	for i, w := range words {
		texts[i] = string(w)
	}
	return strings.Join(texts, ", ")
}

// longestCode is how long a person's code may be.
const longestCode = 32

// CheckCode refuses a code that cannot stand for a person in records, in addresses and on a badge: 1 to
// 32 of the letters A to Z in either case, digits, hyphen, underscore and point, a letter or digit
// first.
func CheckCode(code string) error {
	plain := func(c rune) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' }
	if code == "" || len(code) > longestCode || !plain(rune(code[0])) ||
		strings.ContainsFunc(code, func(c rune) bool { return !plain(c) && c != '-' && c != '_' && c != '.' }) {
		return fmt.Errorf("%w: %q cannot be a person's code; use 1 to %d letters, digits, hyphens, underscores and points, such as T-01",
			ErrArgument, code, longestCode)
	}
	return nil
}
