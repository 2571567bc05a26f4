package web

import (
	"net/http"
	"slices"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
)

// table lists every route with the permission that it needs, in the order of the navigation. A page that
// is not listed is not served.
func (s *Server) table(wall bool) []route {
	return slices.Concat(s.dayRoutes(wall), s.numberRoutes(), s.levelRoutes(), s.meterRoutes(), s.recordRoutes(), s.setUpRoutes(), s.helpRoutes(), s.importRoutes(), s.peopleRoutes(), s.signInRoutes())
}

// get is a page of the day's work.
func get(path string, need access.Permission, page, nav string, handle func(*exchange) error) route {
	return route{method: http.MethodGet, path: path, need: need, handle: handle, page: page, nav: nav}
}

// page is a page of the section.
func (s section) page(path string, need access.Permission, page, nav string, handle func(*exchange) error) route {
	r := get(path, need, page, nav, handle)
	r.section = s
	return r
}

// form is a page of the section for whoever may do what its form asks for.
func (s section) form(path string, act access.Act, page string, handle func(*exchange) error) route {
	r := s.page(path, "", page, "", handle)
	r.act = act
	return r
}

// at is a page at which an act is done.
func at(path string, act access.Act, page, nav string, handle func(*exchange) error) route {
	r := get(path, "", page, nav, handle)
	r.act = act
	return r
}

// data is a page whose answer is for a script.
func data(path string, need access.Permission, handle func(*exchange) error) route {
	return route{method: http.MethodGet, path: path, need: need, handle: handle, data: true}
}

// call is an act that a script asks for.
func call(method, path string, act access.Act, handle func(*exchange) error) route {
	return route{method: method, path: path, act: act, handle: handle, data: true}
}

// post is an act that a form asks for.
func post(path string, act access.Act, handle func(*exchange) error) route {
	return route{method: http.MethodPost, path: path, act: act, handle: handle}
}

// send is post with a form that is longer than usual.
func send(path string, act access.Act, limit int64, handle func(*exchange) error) route {
	r := post(path, act, handle)
	r.limit = limit
	return r
}

// answers makes the act show a page of the section.
func (r route) answers(s section, page string) route {
	r.section, r.page = s, page
	return r
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
		data("/wall/live", screen, s.live),
		post("/today", desk.ToHandOver, s.handOver),
		get("/gate", public, "gate", "Gate", s.gate),
		get("/gate/{tag}", public, "gate", "", s.gate),
		get("/scopes", access.SeeScope, "scopes", "Scopes", s.scopes),
		get("/scopes/{tag}", access.SeeScope, "scope", "", s.scope),
		post("/scopes/{tag}/holds", desk.ToPlaceHold, s.placeHold),
		post("/scopes/{tag}/lifts", desk.ToLiftHold, s.liftHold),
		post("/scopes/{tag}/requests", desk.ToAsk, s.requestRound),
		post("/scopes/{tag}/repairs", desk.ToRecordRepair, s.recordRepair),
		send("/scopes/{tag}/files", desk.ToAttach, uploadLimit, s.attach),
		get("/scopes/{tag}/dossier", access.SeeScope, "dossier", "", s.dossier),
		get("/files/{record}", access.SeeScope, "", "", s.attachedFile),
		post("/files/{record}/void", desk.ToVoid, s.voidFile),
		at("/bench", desk.ToWorkAtBench, "bench", "Bench", s.bench),
		at("/bench/card", desk.ToWorkAtBench, "card", "", s.card),
		at("/bench/drawings/{model}/{point}", desk.ToWorkAtBench, "", "", s.drawing),
		get("/bench/worker.js", public, "", "", s.worker),
		call(http.MethodGet, "/bench/state", desk.ToWorkAtBench, s.benchState),
		call(http.MethodGet, "/bench/jobs/{tag}", desk.ToWorkAtBench, s.benchJob),
		call(http.MethodPost, "/bench/acts", desk.ToWorkAtBench, s.benchAct),
		data("/live", access.SeeBoard, s.live),
	}
}

// peopleRoutes are the accounts, for whoever manages them.
func (s *Server) peopleRoutes() []route {
	return []route{
		setUpSection.page("/people", access.ManageAccounts, "people", "People", s.people),
		post("/people", identity.ToManageAccounts, s.peopleAct),
	}
}

// signInRoutes are how people come in and what everybody sets for themselves.
func (s *Server) signInRoutes() []route {
	return []route{
		call(http.MethodPost, "/sign-in/passkey/question", identity.ToShowWho, s.withPasskeys(s.askToSignIn)),
		call(http.MethodPost, "/sign-in/passkey", identity.ToShowWho, s.withPasskeys(s.signInByPasskey)),
		call(http.MethodPost, "/unlock/passkey/question", identity.ToShowWho, s.withPasskeys(s.askToUnlock)),
		call(http.MethodPost, "/unlock/passkey", identity.ToShowWho, s.withPasskeys(s.unlockByPasskey)),
		call(http.MethodPost, "/account/passkeys/question", identity.ToChangeOwn, s.withPasskeys(s.askToAdd)),
		call(http.MethodPost, "/account/passkeys", identity.ToChangeOwn, s.withPasskeys(s.addPasskey)),
		get("/account", signedIn, "account", "", s.account),
		post("/account", identity.ToChangeOwn, s.ownAct),
		get("/password", public, "account", "", s.account),
		post("/password", identity.ToShowWho, s.passwordAct),
		get("/sign-in", public, "sign-in", "", s.signIn),
		post("/sign-in", identity.ToShowWho, s.signInAct),
		get("/first-sign-in", public, "sign-in", "", s.firstSignIn),
		post("/first-sign-in", identity.ToShowWho, s.firstSignInAct),
		get("/unlock", public, "sign-in", "", s.signIn),
		post("/unlock", identity.ToShowWho, s.unlockAct),
		post("/switch", identity.ToShowWho, s.switchAct),
		post("/lock", identity.ToShowWho, s.lockAct),
		post("/sign-out", identity.ToShowWho, s.signOutAct),
		get("/static/{name...}", public, "", "", s.static),
	}
}
