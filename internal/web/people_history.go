package web

import (
	"slices"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/present/words"
)

// grantLine is one change of an account, with what it changed in what the person may do.
type grantLine struct {
	At, By, What string
	// Gained and Lost are roles; both empty for a change that left the roles alone.
	Gained, Lost string
}

// grantLines tells the changes of an account, the latest first, each with how its roles differ from those
// before.
func grantLines(t words.Terms, all []identity.Granted, zone *time.Location) []grantLine {
	var lines []grantLine
	var before []access.Role
	for _, g := range all {
		lines = append(lines, grantLine{
			At: words.Full(g.At, zone), By: g.By, What: t.Account(g.Change), Gained: t.Roles(without(g.Roles, before)), Lost: t.Roles(without(before, g.Roles)),
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
