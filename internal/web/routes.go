package web

import (
	"net/http"

	"rinsate/internal/access"
)

// table lists every route with the permission that it needs. A page that is not listed is not served.
func (s *Server) table(wall bool) []route {
	get := func(path string, need access.Permission, page, nav string, handle func(*exchange) error) route {
		return route{method: http.MethodGet, path: path, need: need, handle: handle, page: page, nav: nav}
	}
	data := func(method, path string, need access.Permission, handle func(*exchange) error) route {
		return route{method: method, path: path, need: need, handle: handle, data: true}
	}
	post := func(path string, need access.Permission, handle func(*exchange) error) route {
		return route{method: http.MethodPost, path: path, need: need, handle: handle}
	}
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
		get("/records/{id}", access.SeeScope, "record", "", s.record),
		get("/bench", access.RecordStep, "bench", "Bench", s.bench),
		get("/bench/card", access.RecordStep, "card", "", s.card),
		get("/bench/drawings/{model}/{point}", access.RecordStep, "", "", s.drawing),
		get("/bench/worker.js", public, "", "", s.worker),
		data(http.MethodGet, "/bench/state", access.RecordStep, s.benchState),
		data(http.MethodGet, "/bench/jobs/{tag}", access.RecordStep, s.benchJob),
		data(http.MethodPost, "/bench/acts", access.RecordStep, s.benchAct),
		data(http.MethodGet, "/live", access.SeeBoard, s.live),
		get("/people", access.ManageAccounts, "people", "People", s.people),
		post("/people", access.ManageAccounts, s.peopleAct),
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
