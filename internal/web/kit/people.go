package kit

import (
	"net/http"

	"rinsate/internal/domain/access"
)

// SeePeople is the permission to see who is who in a comparison of people. Whoever adopts levels and rules
// answers for how the work is done, and training follows from that: they may have to know who needs it.
// Analysts and auditors need no names for what they ask, and technicians see no comparisons at all.
const SeePeople = access.Adopt

// How a page shows people, as ?people= names it.
const (
	peopleHidden = "hidden"
	PeopleShown  = "shown"
)

// ShowsPeople says whether a comparison of people names their codes: only when it is asked for, and by
// somebody who may see them. Others who ask are refused.
func (x *Exchange) ShowsPeople() (bool, error) {
	switch x.R.URL.Query().Get("people") {
	case "", peopleHidden:
		return false, nil
	case PeopleShown:
		if !x.May(SeePeople) {
			return false, &PageError{
				Status: http.StatusForbidden, Message: "Comparisons of people show codes to leads and to infection prevention only.",
				Hint: "Without people=shown in the address the page shows numbers in place of codes.",
			}
		}
		return true, nil
	}
	return false, &PageError{Status: http.StatusBadRequest, Message: "People are either hidden or shown.", Hint: "Write people=hidden or people=shown."}
}

// PeopleChoice is the control that shows codes or hides them.
type PeopleChoice struct{ May, Shown bool }
