package kit

import (
	"net/http"

	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// Asker is whoever sends a request.
type Asker struct {
	// Who has signed in; nil for nobody, and while the session is locked.
	Who *Person
	// Visit is the session of the browser, also one that is locked.
	Visit identity.Visit
}

// Person is who has signed in.
type Person struct {
	Code  string
	Name  string
	Roles []access.Role
}

// Public is the permission of pages that anybody may open.
const Public access.Permission = ""

// SignedIn is the permission of pages that everybody may open who has signed in.
const SignedIn access.Permission = "signed-in"

// Actor is who does what a request asks for.
func (a Asker) Actor() access.Actor { return a.Visit.Actor() }

// May says whether whoever asks has a permission; public pages need none.
func (a Asker) May(need access.Permission) bool {
	return need == Public || a.Who != nil && (need == SignedIn || a.Actor().Has(need))
}

// Can says whether whoever asks may do something, signed or not.
func (a Asker) Can(act access.Act) bool { return a.Actor().May(act) }

// Opens says whether whoever asks may ask for a route. What is sent and names no act is nobody's.
func (a Asker) Opens(r Route) bool {
	if r.Act.What != "" {
		return a.Can(r.Act)
	}
	return r.Method != http.MethodPost && a.May(r.Need)
}
