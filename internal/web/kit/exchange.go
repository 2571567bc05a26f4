package kit

import (
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
)

// Person is who has signed in.
type Person struct {
	Code  string
	Name  string
	Roles []access.Role
}

// Exchange is one request and its answer.
type Exchange struct {
	Shell *Shell
	W     http.ResponseWriter
	R     *http.Request
	Who   *Person
	// Visit is the session of the browser, also one that is locked.
	Visit desk.Visit
	// Data says that the answer is JSON.
	Data bool
	// renewed says that the answer gives the browser a new token.
	renewed bool
}

// Public is the permission of pages that anybody may open.
const Public access.Permission = ""

// SignedIn is the permission of pages that everybody may open who has signed in.
const SignedIn access.Permission = "signed-in"

// May says whether whoever asks has a permission; public pages need none.
func (x *Exchange) May(need access.Permission) bool {
	return need == Public || x.Who != nil && (need == SignedIn || access.Allows(x.Who.Roles, need))
}
