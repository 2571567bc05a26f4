package web

import (
	"net/http"
	"slices"

	"rinsate/internal/domain/access"
)

// The sections. Pages of the day's work are in none: each is one step away.
const (
	numbersSection section = "Numbers"
	recordsSection section = "Records"
	setUpSection   section = "Set-up"
	helpSection    section = "Help"
)

// table lists every route with the permission that it needs, in the order of the navigation. A page that
// is not listed is not served.
func (s *Server) table(wall bool) []route {
	return slices.Concat(s.dayRoutes(wall), s.numberRoutes(), s.levelRoutes(), s.meterRoutes(), s.recordRoutes(), s.setUpRoutes(), s.helpRoutes(), s.importRoutes(), s.peopleRoutes(), s.signInRoutes())
}

// dayRoutes are the pages of the day's work.
func (s *Server) dayRoutes(wall bool) []route {
	screen := access.SeeBoard
	if wall {
		screen = public
	}
	return []route{
		get("/", public, "", "", func(*exchange) error { return notHere("There is no such page.") }),
		get("/{$}", access.SeeBoard, "today", "", s.today),
		get("/today", access.SeeBoard, "today", "Today", s.today),
		get("/wall", screen, "today", "", s.wall),
		data(http.MethodGet, "/wall/live", screen, s.live),
		post("/today", access.RecordStep, s.handOver),
		get("/gate", public, "gate", "Gate", s.gate),
		get("/gate/{tag}", public, "gate", "", s.gate),
		get("/scopes", access.SeeScope, "scopes", "Scopes", s.scopes),
		get("/scopes/{tag}", access.SeeScope, "scope", "", s.scope),
		post("/scopes/{tag}/holds", access.PlaceHold, s.placeHold),
		post("/scopes/{tag}/lifts", access.LiftHold, s.liftHold),
		post("/scopes/{tag}/requests", access.PlaceHold, s.requestRound),
		post("/scopes/{tag}/repairs", access.RecordStep, s.recordRepair),
		{method: http.MethodPost, path: "/scopes/{tag}/files", need: access.PlaceHold, handle: s.attach, limit: uploadLimit},
		get("/scopes/{tag}/dossier", access.SeeScope, "dossier", "", s.dossier),
		get("/files/{record}", access.SeeScope, "", "", s.attachedFile),
		post("/files/{record}/void", access.PlaceHold, s.voidFile),
		get("/bench", access.RecordStep, "bench", "Bench", s.bench),
		get("/bench/card", access.RecordStep, "card", "", s.card),
		get("/bench/drawings/{model}/{point}", access.RecordStep, "", "", s.drawing),
		get("/bench/worker.js", public, "", "", s.worker),
		data(http.MethodGet, "/bench/state", access.RecordStep, s.benchState),
		data(http.MethodGet, "/bench/jobs/{tag}", access.RecordStep, s.benchJob),
		data(http.MethodPost, "/bench/acts", access.RecordStep, s.benchAct),
		data(http.MethodGet, "/live", access.SeeBoard, s.live),
	}
}

// peopleRoutes are the accounts, for whoever manages them.
func (s *Server) peopleRoutes() []route {
	return []route{
		setUpSection.page("/people", access.ManageAccounts, "people", "People", s.people),
		post("/people", access.ManageAccounts, s.peopleAct),
	}
}

// signInRoutes are how people come in and what everybody sets for themselves.
func (s *Server) signInRoutes() []route {
	return []route{
		data(http.MethodPost, "/sign-in/passkey/question", public, s.withPasskeys(s.askToSignIn)),
		data(http.MethodPost, "/sign-in/passkey", public, s.withPasskeys(s.signInByPasskey)),
		data(http.MethodPost, "/unlock/passkey/question", public, s.withPasskeys(s.askToUnlock)),
		data(http.MethodPost, "/unlock/passkey", public, s.withPasskeys(s.unlockByPasskey)),
		data(http.MethodPost, "/account/passkeys/question", signedIn, s.withPasskeys(s.askToAdd)),
		data(http.MethodPost, "/account/passkeys", signedIn, s.withPasskeys(s.addPasskey)),
		get("/account", signedIn, "account", "", s.account),
		post("/account", signedIn, s.ownAct),
		get("/password", public, "account", "", s.account),
		post("/password", public, s.passwordAct),
		get("/sign-in", public, "sign-in", "", s.signIn),
		post("/sign-in", public, s.signInAct),
		get("/first-sign-in", public, "sign-in", "", s.firstSignIn),
		post("/first-sign-in", public, s.firstSignInAct),
		get("/unlock", public, "sign-in", "", s.signIn),
		post("/unlock", public, s.unlockAct),
		post("/switch", public, s.switchAct),
		post("/lock", public, s.lockAct),
		post("/sign-out", public, s.signOutAct),
		get("/static/{name...}", public, "", "", s.static),
	}
}
