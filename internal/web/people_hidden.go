package web

import (
	"net/http"

	"rinsate/internal/domain/access"
)

// seePeople is the permission to see who is who in a comparison of people. Whoever adopts levels and rules
// answers for how the work is done, and training follows from that: they may have to know who needs it.
// Analysts and auditors need no names for what they ask, and technicians see no comparisons at all.
const seePeople = access.Adopt

// How a page shows people, as ?people= names it.
const (
	peopleHidden = "hidden"
	peopleShown  = "shown"
)

// showsPeople says whether a comparison of people names their codes: only when it is asked for, and by
// somebody who may see them. Others who ask are refused.
func (x *exchange) showsPeople() (bool, error) {
	switch x.r.URL.Query().Get("people") {
	case "", peopleHidden:
		return false, nil
	case peopleShown:
		if !x.may(seePeople) {
			return false, &pageError{
				status: http.StatusForbidden, message: "Comparisons of people show codes to leads and to infection prevention only.",
				hint: "Without people=shown in the address the page shows numbers in place of codes.",
			}
		}
		return true, nil
	}
	return false, &pageError{status: http.StatusBadRequest, message: "People are either hidden or shown.", hint: "Write people=hidden or people=shown."}
}

// peopleChoice is the control that shows codes or hides them.
type peopleChoice struct{ May, Shown bool }
