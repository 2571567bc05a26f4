package web

import (
	"strings"
	"testing"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
)

// An administrator makes an account; the person sets a password with the one-time code, comes in, sets a
// PIN, and sees where they have signed in; the administrator changes the roles and ends the sessions.
func TestNewPerson(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	admin, person := openPage(t, b.server.Base.String()), openPage(t, b.server.Base.String())
	signIn(b, admin, access.Administrator)
	admin.open("/people")
	admin.fill("#new-code", "T-09")
	admin.fill("#new-name", "Robin Muster")
	admin.click(`section form input[value="technician"]`)
	admin.press("section", "Make the account")
	admin.waitFor(".once")
	once := strings.TrimSpace(admin.text(".once"))

	person.open("/bench")
	person.waitFor("#code") // somebody who has not signed in is sent there
	person.press("body", "Sign in")
	person.open("/first-sign-in?next=%2Fbench")
	person.fill("#code", "t-09") // in any case of letters
	person.fill("#once", strings.ToLower(once))
	person.fill("#password", "too short")
	person.fill("#again", "too short")
	person.expect(400)
	person.keys("\r")
	person.waitText("[role=alert]", "at least 15 are needed")
	person.fill("#once", once)
	person.fill("#password", "kettle under the stairs")
	person.fill("#again", "kettle under the stairs")
	person.keys("\r")
	person.waitText("#network", "all stored")
	person.open("/account")
	person.fill("#pin-old", "kettle under the stairs")
	person.fill("#pin", "4826")
	person.keys("\r")
	person.waitText("[role=status]", "The PIN is set")
	if got := person.text("main"); !strings.Contains(got, "(this one)") {
		t.Errorf("the session is not listed:\n%s", got)
	}

	admin.open("/people")
	card := `.card:has(input[value="T-09"])`
	admin.click(card + ` input[value="technician"]`)
	admin.click(card + ` input[value="procedure-room"]`)
	admin.press(card, "Change the roles")
	admin.waitText("[role=status]", "The roles of T-09 are changed")
	history := card + " details:has(> .list)" // before it the second person is asked for, folded up as well
	admin.click(history + " summary")
	for _, words := range []string{"roles changed, + procedure room, − technician by R-administrator", "PIN set or taken away " +
		"by T-09", "account made, + technician by R-administrator"} {
		if got := strings.Join(strings.Fields(admin.text(history)), " "); !strings.Contains(got, words) {
			t.Errorf("the history does not say %q:\n%s", words, got)
		}
	}
	person.expect(403)
	person.open("/bench")
	person.waitText("main", "not for your roles")
	admin.press(card, "End the sessions")
	admin.waitText("[role=status]", "have ended")
	person.open("/account")
	person.waitFor("#code")
}
