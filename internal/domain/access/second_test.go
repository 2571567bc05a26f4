package access_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
)

var (
	lifting = access.Act{What: "lift holds", Needs: []access.Permission{access.LiftHold}}
	steps   = access.Act{What: "record steps", Needs: []access.Permission{access.RecordStep}}
)

// holder is a person with one role.
func holder(code string, role access.Role, since unit.Instant, by, second string) access.Signer {
	return access.Signer{Code: code, Known: true, Held: []access.Held{{Role: role, Since: since, By: by, Second: second}}}
}

func founder(code string, roles ...access.Role) access.Signer {
	s := access.Signer{Code: code, Known: true}
	for _, r := range roles {
		s.Held = append(s.Held, access.Held{Role: r, Since: 90, By: "A-01", Founding: true})
	}
	return s
}

// handed is somebody who has from others what they sign in with.
func handed(s access.Signer, since unit.Instant, by, second string) access.Signer {
	s.Handed = append(slices.Clone(s.Handed), access.Handed{Since: since, By: by, Second: second})
	return s
}

func TestSecondPerson(t *testing.T) {
	t.Parallel()
	const began = unit.Instant(50)
	lead := holder("L-01", access.Lead, 10, "A-01", "")
	tests := []struct {
		name          string
		first, second access.Signer
		since         unit.Instant
		act           access.Act
		want          fault.Code
		words         string
	}{
		{name: "two leads of old", first: lead, second: holder("L-02", access.Lead, 20, "A-01", "")},
		{name: "the same person", first: lead, second: lead, want: fault.Invalid, words: "somebody else"},
		{name: "nobody besides", first: lead, want: fault.Invalid, words: "takes a second person"},
		{name: "the same in other letters", first: lead, second: holder(" l-01", access.Lead, 10, "A-01", ""), want: fault.Invalid},
		{name: "nobody here", first: lead, second: access.Signer{Code: "L-02"}, want: fault.NotFound, words: `second person "L-02" is not registered`},
		{name: "first is nobody here", first: access.Signer{Code: "L-02"}, second: lead, want: fault.NotFound, words: `the person "L-02"`},
		{name: "not allowed", first: lead, second: holder("T-01", access.Technician, 10, "A-01", ""), want: fault.Forbidden, words: "T-01 may not lift holds"},
		{name: "no role at all", first: lead, second: access.Signer{Code: "X-01", Known: true}, want: fault.Forbidden},
		{name: "role just before it began", first: lead, second: holder("L-02", access.Lead, began-1, "A-01", "")},
		{name: "role when it began", first: lead, second: holder("L-02", access.Lead, began, "A-01", ""), want: fault.Forbidden, words: "only after that began"},
		{name: "role after it began", first: lead, second: holder("L-02", access.Lead, began+1, "A-01", ""), want: fault.Forbidden},
		{name: "the first is the newcomer", first: holder("L-02", access.Lead, began+1, "A-01", ""), second: lead, want: fault.Forbidden},
		{name: "new, from two others", first: lead, second: holder("L-02", access.Lead, began+1, "A-01", "H-01")},
		{name: "new, from the other and a third", first: lead, second: holder("L-02", access.Lead, began+1, "A-01", "L-01"), want: fault.Forbidden},
		{name: "new, from one twice", first: lead, second: holder("L-02", access.Lead, began+1, "A-01", "a-01 "), want: fault.Forbidden},
		{name: "of old, from the other and a third", first: lead, second: holder("L-02", access.Lead, 20, "L-01", "A-01")},
		{
			name: "of old, granted by the other", first: lead, second: holder("L-02", access.Lead, 20, "L-01", ""),
			want: fault.Forbidden, words: "has the role lead from L-01",
		},
		{name: "granted by the other, in other letters", first: lead, second: holder("L-02", access.Lead, 20, "l-01", ""), want: fault.Forbidden},
		{name: "granted the other way round", first: holder("L-02", access.Lead, 20, "L-01", ""), second: lead, want: fault.Forbidden},
		{name: "granted by itself and the other", first: lead, second: holder("L-02", access.Lead, 20, "L-02", "L-01"), want: fault.Forbidden},
		{name: "granted by itself, of old", first: lead, second: holder("L-02", access.Lead, 20, "L-02", "")},
		{name: "nobody says who granted it", first: lead, second: holder("L-02", access.Lead, 20, "", ""), want: fault.Forbidden},
		{name: "reset just before it began", first: lead, second: handed(holder("L-02", access.Lead, 20, "A-01", ""), began-1, "A-01", "")},
		{
			name: "reset when it began", first: lead, second: handed(holder("L-02", access.Lead, 20, "A-01", ""), began, "A-01", ""),
			want: fault.Forbidden, words: "L-02 has what they sign in with only since that began, from A-01",
		},
		{name: "reset after it began", first: lead, second: handed(holder("L-02", access.Lead, 20, "A-01", ""), began+1, "A-01", ""), want: fault.Forbidden},
		{
			name: "the first was reset after it began", want: fault.Forbidden,
			first: handed(lead, began+1, "A-01", ""), second: holder("L-02", access.Lead, 20, "A-01", ""),
		},
		{name: "a founder who was reset after it began", first: lead, second: handed(founder("H-01", access.Lead), began+1, "A-01", ""), want: fault.Forbidden},
		{name: "a founder who was reset before", first: lead, second: handed(founder("H-01", access.Lead), began-1, "A-01", "")},
		{name: "reset by two others after it began", first: lead, second: handed(founder("L-02", access.Lead), began+1, "A-01", "H-01")},
		{name: "reset by two who are one", first: lead, second: handed(founder("L-02", access.Lead), began+1, "A-01", "a-01"), want: fault.Forbidden},
		{name: "reset by the other and a third, late", first: lead, second: handed(founder("L-02", access.Lead), began+1, "A-01", "L-01"), want: fault.Forbidden},
		{name: "reset by the other and a third, before", first: lead, second: handed(founder("L-02", access.Lead), began-1, "A-01", "L-01")},
		{
			name: "reset by the other, long ago", first: lead, second: handed(founder("L-02", access.Lead), 20, "L-01", ""),
			want: fault.Forbidden, words: "L-02 has from L-01 what they sign in with",
		},
		{
			name: "reset by the other, what began at no time", first: lead, second: handed(founder("L-02", access.Lead), 20, "L-01", ""),
			since: -1, want: fault.Forbidden,
		},
		{name: "reset by itself after it began", first: lead, second: handed(founder("L-02", access.Lead), began+1, "L-02", ""), want: fault.Forbidden},
		{name: "reset by nobody who is named", first: lead, second: handed(founder("L-02", access.Lead), 20, "", ""), want: fault.Forbidden},
		{
			name: "the password set by one before, the PIN by another after", first: lead, want: fault.Forbidden, words: "from A-02",
			second: handed(handed(founder("L-02", access.Lead), 20, "A-01", ""), began+1, "A-02", ""),
		},
		{
			name: "reset by two others, and a role that is late all the same", first: lead, want: fault.Forbidden, words: "got the role lead only after",
			second: handed(holder("L-02", access.Lead, began+1, "A-01", ""), began+2, "A-01", "H-01"),
		},
		{
			name: "a role from the other, and reset by somebody else since", first: lead, want: fault.Forbidden, words: "has the role lead from L-01",
			second: handed(holder("L-02", access.Lead, 20, "L-01", ""), 21, "A-01", ""),
		},
		{
			name: "two with roles from the same one, after it began", want: fault.Forbidden, words: "only after that began",
			first: holder("Z-02", access.Lead, began+1, "A-01", ""), second: holder("Z-01", access.Lead, began+1, "A-01", ""),
		},
		{name: "founders, whoever gave the roles", first: founder("A-01", access.Lead), second: founder("H-01", access.InfectionPrevention)},
		{name: "what began at no time", first: lead, second: holder("L-02", access.Lead, 99, "A-01", ""), since: -1},
		{name: "what began at no time, granted by the other", first: lead, second: holder("L-02", access.Lead, 99, "L-01", ""), since: -1, want: fault.Forbidden},
		{
			name: "another role of theirs counts", first: lead, act: steps,
			second: access.Signer{Code: "T-01", Known: true, Held: []access.Held{
				{Role: access.Technician, Since: 5, By: "A-01"}, {Role: access.Lead, Since: 60, By: "L-01"},
			}},
		},
		{
			name: "a role that allows it does not count, another does not allow it", first: lead, want: fault.Forbidden, words: "lead from L-01",
			second: access.Signer{Code: "T-01", Known: true, Held: []access.Held{
				{Role: access.Technician, Since: 5, By: "A-01"}, {Role: access.Lead, Since: 10, By: "L-01"},
			}},
		},
	}
	for _, test := range tests {
		if test.act.What == "" {
			test.act = lifting
		}
		p := access.Pair{First: test.first, Second: test.second, Since: began}
		if test.since < 0 {
			p.Since = 0
		}
		err := p.Check(lifting, test.act)
		if got := fault.CodeOf(err); err == nil && test.want != "" || err != nil && got != test.want {
			t.Errorf("%s: %v, want %q", test.name, err, test.want)
		}
		if err != nil && !strings.Contains(err.Error(), test.words) {
			t.Errorf("%s: %q does not say %q", test.name, err, test.words)
		}
		if err != nil && test.want == fault.Forbidden && !strings.Contains(err.Error(), "named beforehand") {
			t.Errorf("%s: %q does not say what to do", test.name, err)
		}
	}
}

// The roles in which two sign are those that count beside each other, and no others.
func TestRolesThatCount(t *testing.T) {
	t.Parallel()
	p := access.Pair{
		First: holder("L-01", access.Lead, 10, "A-01", ""),
		Second: access.Signer{Code: "L-02", Known: true, Held: []access.Held{
			{Role: access.Lead, Since: 10, By: "A-01"}, {Role: access.InfectionPrevention, Since: 60, By: "A-01"},
		}},
		Since: 50,
	}
	first, second := p.Roles()
	if diff := cmp.Diff([]access.Role{access.Lead}, first); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]access.Role{access.Lead}, second); diff != "" {
		t.Error(diff)
	}
	if err := p.Be(access.Lead, access.InfectionPrevention); fault.CodeOf(err) != fault.Forbidden || !strings.Contains(err.Error(), "only after that began") {
		t.Error(err)
	}
	p.Since = 70
	if err := p.Be(access.Lead, access.InfectionPrevention); err != nil {
		t.Error(err)
	}
	if err := p.Be(access.InfectionPrevention, access.Lead); err != nil {
		t.Error(err)
	}
	p.Second = holder("L-02", access.Lead, 10, "A-01", "")
	if err := p.Be(access.Lead, access.InfectionPrevention); fault.CodeOf(err) != fault.Forbidden || !strings.Contains(err.Error(), "one in the role") {
		t.Error(err)
	}
	both := access.Pair{First: founder("L-01", access.Lead, access.InfectionPrevention), Second: founder("T-01", access.Technician)}
	if err := both.Be(access.Lead, access.InfectionPrevention); err == nil {
		t.Error("one person is both")
	}
}

func TestHeldAfter(t *testing.T) {
	t.Parallel()
	lead, both := []access.Role{access.Lead}, []access.Role{access.Technician, access.Lead}
	got := access.HeldAfter([]access.RoleChange{
		{At: 1, Roles: []access.Role{access.Technician}, By: "A-01", Founding: true},
		{At: 2, Roles: both, By: "A-02"},
		{At: 3, Roles: both, By: "A-03"}, // a password, say
		{At: 4, Roles: nil, By: "A-01"},  // disabled
		{At: 5, Roles: lead, By: "L-09", Second: "H-01"},
		{At: 6, Roles: both, By: "A-01"},
	})
	want := []access.Held{{Role: access.Lead, Since: 5, By: "L-09", Second: "H-01"}, {Role: access.Technician, Since: 6, By: "A-01"}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if got := access.HeldAfter(nil); got != nil {
		t.Error(got)
	}
}

func TestHandedAfter(t *testing.T) {
	t.Parallel()
	lead := []access.Role{access.Lead}
	changes := []access.RoleChange{
		{At: 1, Roles: lead, By: "A-01", Founding: true, Hands: true},
		{At: 2, Roles: lead, By: "A-01"},
		{At: 3, Roles: lead, By: "A-02", Hands: true},
		{At: 4, Roles: lead, By: "A-03", Second: "H-01", Hands: true},
	}
	want := []access.Handed{{Since: 3, By: "A-02"}, {Since: 4, By: "A-03", Second: "H-01"}}
	if diff := cmp.Diff(want, access.HandedAfter(changes)); diff != "" {
		t.Error(diff)
	}
	changes = append(changes, access.RoleChange{At: 5, Roles: lead, By: "A-04", Hands: true, Anew: true})
	if diff := cmp.Diff([]access.Handed{{Since: 5, By: "A-04"}}, access.HandedAfter(changes)); diff != "" {
		t.Error(diff)
	}
	if got := access.HandedAfter(nil); got != nil {
		t.Error(got)
	}
}

func TestGrantOfInfectionPrevention(t *testing.T) {
	t.Parallel()
	admin, lead, ip := founder("A-01", access.Administrator), founder("L-01", access.Lead), founder("H-01", access.InfectionPrevention)
	technician, none := founder("T-01", access.Technician), access.Signer{}
	tests := []struct {
		name       string
		code       string
		by, second access.Signer
		want       bool
	}{
		{"an administrator alone", "H-02", admin, none, false},
		{"one who has the role", "H-02", ip, none, true},
		{"an administrator and one who has the role", "H-02", admin, ip, true},
		{"an administrator and a lead", "H-02", admin, lead, true},
		{"an administrator and a technician", "H-02", admin, technician, false},
		{"an administrator twice", "H-02", admin, admin, false},
		{"who gets it signs it", "L-01", admin, lead, false},
		{"who gives it to themselves, with a lead", "A-01", admin, lead, false},
		{"who had it, and gets it again", "H-01", admin, ip, false},
		{"nobody who is registered", "H-02", admin, access.Signer{Code: "L-09", Held: lead.Held}, false},
	}
	for _, test := range tests {
		if err := access.CheckGrant(test.code, test.by, test.second); (err == nil) != test.want {
			t.Errorf("%s: %v", test.name, err)
		}
	}
	for _, test := range []struct {
		before, after []access.Role
		want          bool
	}{
		{nil, []access.Role{access.InfectionPrevention}, true},
		{[]access.Role{access.InfectionPrevention}, []access.Role{access.InfectionPrevention, access.Lead}, false},
		{[]access.Role{access.InfectionPrevention}, nil, false},
		{nil, []access.Role{access.Lead}, false},
	} {
		if got := access.Gives(test.before, test.after); got != test.want {
			t.Errorf("%v to %v: %t", test.before, test.after, got)
		}
	}
}
