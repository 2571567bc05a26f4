package access_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/domain/access"
)

// matrix is the table of roles and permissions as a person would draw it, column by column in the order
// of its head: x is allowed, a point is not.
const matrix = `
                 technician lead infection-prevention procedure-room analyst auditor administrator
see-release         x          x    x                    x              x       x       x
see-board        x          x    x                    .              x       x       x
see-scope        x          x    x                    .              x       x       .
see-numbers      .          x    x                    .              x       x       .
see-records      .          x    x                    .              x       x       .
see-set-up       .          x    x                    .              x       x       x
see-patients     .          .    x                    .              .       .       .
record-step      x          x    .                    .              .       .       .
place-hold       x          x    x                    x              .       .       .
lift-hold        .          x    x                    .              .       .       .
void-record      .          x    .                    .              .       .       .
check-meter      x          x    .                    .              .       .       .
adopt            .          x    x                    .              .       .       .
manage-fleet     .          x    .                    .              .       .       x
manage-accounts  .          .    .                    .              .       .       x
export           .          x    x                    .              x       x       .
`

func TestMatrix(t *testing.T) {
	t.Parallel()
	lines := strings.Split(strings.TrimSpace(matrix), "\n")
	roles := strings.Fields(lines[0])
	if got := access.Words(access.Roles); got != strings.Join(roles, ", ") {
		t.Fatalf("the matrix has the roles %v, the package %s", roles, got)
	}
	var permissions []string
	for _, line := range lines[1:] {
		cells := strings.Fields(line)
		permissions = append(permissions, cells[0])
		for i, cell := range cells[1:] {
			role := access.Role(roles[i])
			if got := access.Allows([]access.Role{role}, access.Permission(cells[0])); got != (cell == "x") {
				t.Errorf("%s may %s: %t", role, cells[0], got)
			}
		}
	}
	if got := access.Words(access.Permissions); got != strings.Join(permissions, ", ") {
		t.Errorf("the matrix has the permissions %v, the package %s", permissions, got)
	}
}

func TestDeniedByDefault(t *testing.T) {
	t.Parallel()
	for _, p := range append(slices.Clone(access.Permissions), "", "see-everything") {
		for _, roles := range [][]access.Role{nil, {""}, {"superuser"}, {"Technician"}} {
			if access.Allows(roles, p) {
				t.Errorf("%q may %q", roles, p)
			}
		}
	}
	for _, p := range []access.Permission{"", "see-everything", "SEE-RELEASE"} {
		if access.Allows(access.Roles, p) {
			t.Errorf("all roles together may %q", p)
		}
	}
}

// What several roles allow is what any of them allows, in any order.
func TestRolesAddUp(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		roles := rapid.SliceOf(rapid.SampledFrom(access.Roles)).Draw(t, "roles")
		p := rapid.SampledFrom(access.Permissions).Draw(t, "permission")
		want := false
		for _, r := range roles {
			want = want || access.Allows([]access.Role{r}, p)
		}
		if got := access.Allows(roles, p); got != want {
			t.Fatalf("%v may %s: %t, want %t", roles, p, got, want)
		}
	})
}

func TestParseRoles(t *testing.T) {
	t.Parallel()
	tests := []struct {
		text string
		want []access.Role
	}{
		{"", nil},
		{"lead", []access.Role{access.Lead}},
		{"administrator,lead", []access.Role{access.Lead, access.Administrator}},
		{" lead,, technician lead", []access.Role{access.Technician, access.Lead}},
	}
	for _, test := range tests {
		got, err := access.ParseRoles(test.text)
		if diff := cmp.Diff(test.want, slices.Clip(got), cmp.Transformer("text", access.Words[access.Role])); diff != "" || err != nil {
			t.Errorf("%q: %v %v", test.text, got, err)
		}
	}
	for _, text := range []string{"boss", "lead,boss", "Lead", "lead;technician"} {
		if got, err := access.ParseRoles(text); !errors.Is(err, access.ErrArgument) || got != nil {
			t.Errorf("%q: %v %v", text, got, err)
		}
	}
	for _, roles := range [][]access.Role{{"boss"}, {access.Lead, access.Lead}, {""}} {
		if err := access.CheckRoles(roles); !errors.Is(err, access.ErrArgument) {
			t.Errorf("%v: %v", roles, err)
		}
	}
	if err := errors.Join(access.CheckRoles(nil), access.CheckRoles(access.Roles)); err != nil {
		t.Error(err)
	}
}

func TestCode(t *testing.T) {
	t.Parallel()
	for _, code := range []string{"T", "T-01", "t_01.x", "9", strings.Repeat("A", 32)} {
		if err := access.CheckCode(code); err != nil {
			t.Error(err)
		}
	}
	for _, code := range []string{"", " T-01", "T 01", "-T", "Ä-1", "T/01", "T\n", "<b>", strings.Repeat("A", 33)} {
		if err := access.CheckCode(code); !errors.Is(err, access.ErrArgument) {
			t.Errorf("%q: %v", code, err)
		}
	}
	if access.Key("T-01") != access.Key(" t-01 ") || access.Key("T-01") == access.Key("T-1") || access.Key("T-01") != access.Key("\uff34-01") {
		t.Error("codes that look alike are one account, others are not")
	}
}
