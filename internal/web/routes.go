package web

import (
	"net/http"
	"slices"

	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// The sections. Pages of the day's work are in none: each is one step away.
const (
	numbersSection kit.Section = "Numbers"
	recordsSection kit.Section = "Records"
	setUpSection   kit.Section = "Set-up"
	helpSection    kit.Section = "Help"
)

// table lists every route with the permission that it needs, in the order of the navigation. A page that
// is not listed is not served.
func (s *Server) table(wall bool) []kit.Route {
	return slices.Concat(s.dayRoutes(wall), s.numberRoutes(), s.levelRoutes(), s.meterRoutes(), s.recordRoutes(), s.setUpRoutes(), s.helpRoutes(), s.importRoutes(), s.peopleRoutes(), s.signInRoutes())
}

// dayRoutes are the pages of the day's work.
func (s *Server) dayRoutes(wall bool) []kit.Route {
	screen := access.SeeBoard
	if wall {
		screen = kit.Public
	}
	return []kit.Route{
		kit.Get("/", kit.Public, "", "", func(*kit.Exchange) error { return kit.NotHere("There is no such page.") }),
		kit.Get("/{$}", access.SeeBoard, "today", "", s.today),
		kit.Get("/today", access.SeeBoard, "today", "Today", s.today),
		kit.Get("/wall", screen, "today", "", s.wall),
		kit.Data(http.MethodGet, "/wall/live", screen, s.live),
		kit.Post("/today", access.RecordStep, s.handOver),
		kit.Get("/gate", kit.Public, "gate", "Gate", s.gate),
		kit.Get("/gate/{tag}", kit.Public, "gate", "", s.gate),
		kit.Get("/scopes", access.SeeScope, "scopes", "Scopes", s.scopes),
		kit.Get("/scopes/{tag}", access.SeeScope, "scope", "", s.scope),
		kit.Post("/scopes/{tag}/holds", access.PlaceHold, s.placeHold),
		kit.Post("/scopes/{tag}/lifts", access.LiftHold, s.liftHold),
		kit.Post("/scopes/{tag}/requests", access.PlaceHold, s.requestRound),
		kit.Post("/scopes/{tag}/repairs", access.RecordStep, s.recordRepair),
		{Method: http.MethodPost, Path: "/scopes/{tag}/files", Need: access.PlaceHold, Handle: s.attach, Limit: uploadLimit},
		kit.Get("/scopes/{tag}/dossier", access.SeeScope, "dossier", "", s.dossier),
		kit.Get("/files/{record}", access.SeeScope, "", "", s.attachedFile),
		kit.Post("/files/{record}/void", access.PlaceHold, s.voidFile),
		kit.Get("/bench", access.RecordStep, "bench", "Bench", s.bench),
		kit.Get("/bench/card", access.RecordStep, "card", "", s.card),
		kit.Get("/bench/drawings/{model}/{point}", access.RecordStep, "", "", s.drawing),
		kit.Get("/bench/worker.js", kit.Public, "", "", s.worker),
		kit.Data(http.MethodGet, "/bench/state", access.RecordStep, s.benchState),
		kit.Data(http.MethodGet, "/bench/jobs/{tag}", access.RecordStep, s.benchJob),
		kit.Data(http.MethodPost, "/bench/acts", access.RecordStep, s.benchAct),
		kit.Data(http.MethodGet, "/live", access.SeeBoard, s.live),
	}
}

// peopleRoutes are the accounts, for whoever manages them.
func (s *Server) peopleRoutes() []kit.Route {
	return []kit.Route{
		setUpSection.Page("/people", access.ManageAccounts, "people", "People", s.people),
		kit.Post("/people", access.ManageAccounts, s.peopleAct),
	}
}

// signInRoutes are how people come in and what everybody sets for themselves.
func (s *Server) signInRoutes() []kit.Route {
	return []kit.Route{
		kit.Data(http.MethodPost, "/sign-in/passkey/question", kit.Public, s.withPasskeys(s.askToSignIn)),
		kit.Data(http.MethodPost, "/sign-in/passkey", kit.Public, s.withPasskeys(s.signInByPasskey)),
		kit.Data(http.MethodPost, "/unlock/passkey/question", kit.Public, s.withPasskeys(s.askToUnlock)),
		kit.Data(http.MethodPost, "/unlock/passkey", kit.Public, s.withPasskeys(s.unlockByPasskey)),
		kit.Data(http.MethodPost, "/account/passkeys/question", kit.SignedIn, s.withPasskeys(s.askToAdd)),
		kit.Data(http.MethodPost, "/account/passkeys", kit.SignedIn, s.withPasskeys(s.addPasskey)),
		kit.Get("/account", kit.SignedIn, "account", "", s.account),
		kit.Post("/account", kit.SignedIn, s.ownAct),
		kit.Get("/password", kit.Public, "account", "", s.account),
		kit.Post("/password", kit.Public, s.passwordAct),
		kit.Get("/sign-in", kit.Public, "sign-in", "", s.signIn),
		kit.Post("/sign-in", kit.Public, s.signInAct),
		kit.Get("/first-sign-in", kit.Public, "sign-in", "", s.firstSignIn),
		kit.Post("/first-sign-in", kit.Public, s.firstSignInAct),
		kit.Get("/unlock", kit.Public, "sign-in", "", s.signIn),
		kit.Post("/unlock", kit.Public, s.unlockAct),
		kit.Post("/switch", kit.Public, s.switchAct),
		kit.Post("/lock", kit.Public, s.lockAct),
		kit.Post("/sign-out", kit.Public, s.signOutAct),
		kit.Get("/static/{name...}", kit.Public, "", "", s.Static),
	}
}
