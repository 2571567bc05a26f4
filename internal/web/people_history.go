package web

import (
	"slices"
	"strings"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/record"
)

// grantLine is one change of an account, with what it changed in what the person may do.
type grantLine struct {
	At, By, What string
	// Gained and Lost are roles; both empty for a change that left the roles alone.
	Gained, Lost string
}

// grantLines tells the changes of an account, the latest first, each with how its roles differ from those
// before.
func grantLines(all []identity.Granted, zone *time.Location) []grantLine {
	var lines []grantLine
	var before []access.Role
	for _, g := range all {
		lines = append(lines, grantLine{
			At: dated(g.At, zone), By: g.By, What: changeWords(g.Change), Gained: access.Words(without(g.Roles, before)), Lost: access.Words(without(before, g.Roles)),
		})
		before = g.Roles
	}
	slices.Reverse(lines)
	return lines
}

// without returns the roles that are not among others.
func without(roles, others []access.Role) []access.Role {
	return slices.DeleteFunc(slices.Clone(roles), func(r access.Role) bool { return slices.Contains(others, r) })
}

// changeWords says what was done to an account.
func changeWords(c record.AccessChange) string {
	switch c {
	case record.AccountAdded:
		return "account made"
	case record.RolesChanged:
		return "roles changed"
	case record.PasswordChanged:
		return "password set"
	case record.PINChanged:
		return "PIN set or taken away"
	case record.BadgeChanged:
		return "badge tied or taken away"
	case record.AccountDisabled:
		return "disabled"
	case record.AccountEnabled:
		return "enabled"
	case record.AccountReset:
		return "reset: a one-time code was given out"
	case record.PasskeyAdded:
		return "passkey added"
	case record.PasskeyRemoved:
		return "passkey removed"
	}
	return strings.ReplaceAll(string(c), "-", " ")
}
