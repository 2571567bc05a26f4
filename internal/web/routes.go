package web

import (
	"net/http"
	"slices"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/web/kit"
)

// The sections. Pages of the day's work are in none: each is one step away.
const (
	numbersSection kit.Section = "Numbers"
	recordsSection kit.Section = "Records"
	setUpSection   kit.Section = "Set-up"
	helpSection    kit.Section = "Help"
)

// allRoutes lists every route with the permission that it needs, in the order of the navigation. A page that
// is not listed is not served.
func allRoutes(s *Server, wall bool) []kit.Route {
	all := slices.Concat(
		dayRoutes(s, wall),
		numberRoutes(s),
		levelRoutes(s),
		meterRoutes(s),
		recordRoutes(s),
		setUpRoutes(s),
		helpRoutes(s),
		importRoutes(s),
		peopleRoutes(s),
		signInRoutes(s),
	)
	if s.filling != nil {
		all = append(all, kit.Get("/filling", kit.Public, "", "", s.howFull))
	}
	return all
}

// dayRoutes are the pages of the day's work.
func dayRoutes(s *Server, wall bool) []kit.Route {
	screen := access.SeeBoard
	if wall {
		screen = kit.Public
	}
	return []kit.Route{
		kit.Get("/", kit.Public, "", "", func(*kit.Exchange) error { return kit.NotHere("There is no such page.") }),
		kit.Get("/{$}", kit.SignedIn, "today", "", dayPages{s}.first),
		kit.Get("/today", access.SeeBoard, "today", "Today", dayPages{s}.today),
		kit.Get("/wall", screen, "today", "", dayPages{s}.wall),
		kit.Data("/wall/live", screen, dayPages{s}.live),
		kit.Post("/today", desk.ToHandOver, dayPages{s}.handOver),
		kit.Get(clockPath, access.SeeBoard, "clock", "", dayPages{s}.clock),
		kit.Post(clockPath, desk.ToCompareClock, dayPages{s}.compareClock),
		kit.At(attestPath, desk.ToAttest, "attest", "", dayPages{s}.attest),
		kit.Post(attestPath, desk.ToAttest, dayPages{s}.attested),
		kit.Get(restoredPath, access.SeeBoard, "restored", "", dayPages{s}.restored),
		kit.Post(restoredPath, desk.ToSayRestored, dayPages{s}.sayRestored),
		kit.Post(restoredPath+"/nothing", desk.ToSayNothingSince, dayPages{s}.sayNothingSince),
		kit.Get(firstDayPath, access.SeeBoard, "first-day", "", dayPages{s}.firstDay),
		kit.Post(firstDayPath+"/start", desk.ToSignStart, dayPages{s}.signStart),
		kit.Send(firstDayPath+"/stock", desk.ToTakeStock, stockLimit, dayPages{s}.takeStock),
		kit.Get("/ready", kit.Public, "ready", "Ready?", dayPages{s}.release),
		kit.Get("/ready/{tag}", kit.Public, "ready", "", dayPages{s}.release),
		kit.Get("/ready/{tag}/emergency", kit.Public, "emergency", "", urgentPages{s}.emergency),
		kit.Post("/ready/{tag}/emergency", desk.ToRecordEmergency, urgentPages{s}.recordEmergency),
		kit.At("/ready/{tag}/hold", desk.ToPlaceHold, "wrong", "", urgentPages{s}.somethingWrong),
		kit.Post("/ready/{tag}/hold", desk.ToPlaceHold, urgentPages{s}.holdFromAnswer),
		kit.Get(emergenciesPath, access.SeeScope, "emergencies", "", urgentPages{s}.emergencies),
		kit.Post(emergenciesPath+"/{record}/seen", desk.ToSeeEmergency, urgentPages{s}.seeEmergency),
		kit.Post(emergenciesPath+"/{record}/rest", desk.ToCompleteEmergency, urgentPages{s}.restOfEmergency),
		kit.Get(paperPath+"/ready", access.SeeBoard, "paper", "", urgentPages{s}.readyPaper),
		kit.Get(paperPath+"/ready.pdf", access.SeeBoard, "", "", urgentPages{s}.readyPDF),
		kit.Get(paperPath+"/forms", access.SeeBoard, "paper", "", urgentPages{s}.blankPaper),
		kit.Get(paperPath+"/forms.pdf", access.SeeBoard, "", "", urgentPages{s}.blankPDF),
		kit.Get("/scopes", access.SeeScope, "scopes", "Scopes", dayPages{s}.scopes),
		kit.Get("/scopes/{tag}", access.SeeScope, "scope", "", scopePages{s}.scope),
		kit.Post("/scopes/{tag}/holds", desk.ToPlaceHold, scopePages{s}.placeHold),
		kit.Post("/scopes/{tag}/lifts", desk.ToLiftHold, scopePages{s}.liftHold),
		kit.Post("/scopes/{tag}/requests", desk.ToAsk, scopePages{s}.askForTest),
		kit.Post("/scopes/{tag}/repairs", desk.ToRecordRepair, scopePages{s}.recordRepair),
		kit.Send("/scopes/{tag}/files", desk.ToAttach, uploadLimit, scopePages{s}.attach),
		kit.Get("/scopes/{tag}/dossier", access.SeeScope, "dossier", "", scopePages{s}.dossier),
		kit.Get("/files/{record}", access.SeeScope, "", "", scopePages{s}.attachedFile),
		kit.Post("/files/{record}/void", desk.ToVoid, scopePages{s}.voidFile),
		kit.At("/bench", desk.ToWorkAtBench, "bench", "Bench", benchPages{s}.bench),
		kit.At("/bench/card", desk.ToWorkAtBench, "card", "", benchPages{s}.card),
		kit.At("/bench/drawings/{model}/{point}", desk.ToWorkAtBench, "", "", benchPages{s}.drawing),
		kit.Get("/bench/worker.js", kit.Public, "", "", benchPages{s}.worker),
		kit.Call(http.MethodGet, "/bench/state", desk.ToWorkAtBench, benchPages{s}.benchState),
		kit.Call(http.MethodGet, "/bench/jobs/{tag}", desk.ToWorkAtBench, benchPages{s}.benchJob),
		kit.Call(http.MethodPost, "/bench/acts", desk.ToWorkAtBench, benchPages{s}.benchAct),
		kit.Data("/live", access.SeeBoard, dayPages{s}.live),
	}
}

// numberRoutes are the charts and the signals.
func numberRoutes(s *Server) []kit.Route {
	const n = numbersSection
	return []kit.Route{
		n.Page("/trends", access.SeeNumbers, "trends", "Trends", numberPages{s}.trends),
		n.Page("/trends/{tag}/{point}", access.SeeNumbers, "series", "", numberPages{s}.series),
		kit.Post("/trends/{tag}/{point}", desk.ToAdoptChart, numberPages{s}.adoptLimits),
		n.Page("/signals", access.SeeNumbers, "signals", "Signals", numberPages{s}.signalList),
		n.Page("/signals/{signal}", access.SeeNumbers, "signal", "", numberPages{s}.signal),
		kit.Post("/signals/{signal}/acts", desk.ToHandleSignal, numberPages{s}.handleSignal),
		kit.Post("/signals/{signal}/closing", desk.ToCloseSignal, numberPages{s}.closeSignal),
		kit.Post("/signals/{signal}/void", desk.ToHandleSignal, numberPages{s}.voidHandling),
		n.Page("/failures", access.SeeNumbers, "failures", "Failures", numberPages{s}.failures),
	}
}

// levelRoutes are the levels and how they are derived, judged and adopted.
func levelRoutes(s *Server) []kit.Route {
	return []kit.Route{
		numbersSection.Page("/levels", access.SeeNumbers, "levels", "Levels", levelPages{s}.levels),
		numbersSection.Page(workshopPath, access.SeeNumbers, "workshop", "Level workshop", levelPages{s}.workshop),
		numbersSection.Page(comparePath, access.SeeNumbers, "compare", "Compare levels", levelPages{s}.compareLevels),
		numbersSection.Page("/levels/{level}", access.SeeNumbers, "level", "", levelPages{s}.level),
		kit.Send(workshopPath+"/cultures", desk.ToStudyNumbers, cultureLimit, levelPages{s}.takeCultures),
		kit.Post(workshopPath, desk.ToAdoptDerived, levelPages{s}.adopt),
	}
}

// meterRoutes are the meters, their checks and comparisons.
func meterRoutes(s *Server) []kit.Route {
	return []kit.Route{
		numbersSection.Page("/meters", access.SeeScope, "meters", "Meters", meterPages{s}.meters),
		numbersSection.Page("/meters/{meter}", access.SeeScope, "meter", "", meterPages{s}.meter),
		kit.Post("/meters/{meter}/checks", desk.ToCheckMeter, meterPages{s}.checkMeter),
		numbersSection.Page("/meters/compare", access.SeeNumbers, "compare-lots", "Lots and meters", meterPages{s}.compare),
		kit.Send("/meters/compare", desk.ToStudyNumbers, kit.TableLimit, meterPages{s}.comparePairs).Answers(numbersSection, "compare-lots"),
		kit.Send("/meters/compare/records", desk.ToRecordComparison, kit.TableLimit+kit.FormLimit, meterPages{s}.recordComparison),
		numbersSection.Page("/meters/study", access.SeeNumbers, "gauge-study", "Gauge study", meterPages{s}.gaugeStudy),
		kit.Send("/meters/study", desk.ToStudyNumbers, kit.TableLimit, meterPages{s}.judgeStudy).Answers(numbersSection, "gauge-study"),
		numbersSection.Page("/variation", access.SeeNumbers, "variation", "Sources of variation", sourcePages{s}.variation),
		numbersSection.Page("/comparison", access.SeeNumbers, "comparison", "Comparison", sourcePages{s}.comparison),
	}
}

// recordRoutes are the records, their search and their proofs.
func recordRoutes(s *Server) []kit.Route {
	return []kit.Route{
		kit.Get("/today/due", access.SeeBoard, "due", "", scopePages{s}.dueList),
		recordsSection.Page("/records", access.SeeRecords, "records", "Search", recordPages{s}.searchRecords),
		recordsSection.Page("/records/ledger", access.SeeRecords, "ledger", "Ledger", recordPages{s}.ledger),
		kit.Post("/records/ledger", desk.ToCompareLedger, recordPages{s}.compareLedger),
		kit.Get("/records/ledger/checkpoint.txt", access.SeeRecords, "", "", recordPages{s}.checkpointFile),
		kit.Get("/records/ledger/key.txt", access.SeeRecords, "", "", recordPages{s}.keyFile),
		kit.Get("/records/ledger/verify.sh", access.SeeRecords, "", "", recordPages{s}.verifyFile),
		kit.Get("/records/ledger/ledger.zip", access.Export, "", "", recordPages{s}.ledgerFile),
		recordsSection.Page("/records/{id}", access.SeeScope, "record", "", recordPages{s}.record),
		kit.Get("/records/{id}/record.json", access.SeeRecords, "", "", recordPages{s}.recordFile),
		kit.Get("/records/{id}/record.tlog-proof", access.SeeRecords, "", "", recordPages{s}.proofFile),
		kit.Post("/records/{id}/void", desk.ToVoid, recordPages{s}.voidRecord),
		kit.Send("/records/{id}/correct", desk.ToCorrect, uploadLimit, recordPages{s}.correctRecord),
		kit.Post("/records/{id}/finish", desk.ToFinish, recordPages{s}.finishRecord),
		kit.Post("/records/{id}/erase", desk.ToErase, recordPages{s}.eraseText),
		kit.Get("/records/{id}/patient", access.SeePatients, "patient", "", patientPages{s}.patient),
		kit.Post("/records/{id}/patient", desk.ToRevealPatient, patientPages{s}.revealPatient),
		kit.Post("/records/{id}/patient/erase", desk.ToErasePatient, patientPages{s}.erasePatient),
		recordsSection.Page("/patients", access.SeePatients, "patients", "Patients", patientPages{s}.patients),
		kit.Post("/patients", desk.ToFindPatient, patientPages{s}.findPatient),
	}
}

// setUpRoutes are how a facility is described: its fleet, kits, meters and rules.
func setUpRoutes(s *Server) []kit.Route {
	routes := slices.Concat(
		[]kit.Route{
			setUpSection.Page("/set-up", access.SeeSetUp, "set-up", "Overview", setUpPages{s}.setUp),
			setUpSection.Page("/set-up/models/{model}/points/{point}", access.SeeSetUp, "set-up-point", "", setUpPages{s}.pointProtocol),
		},
		rulesRoutes(s),
	)
	for _, r := range registries() {
		routes = append(routes, registryRoutes(s, r)...)
	}
	scopes, lots := scopeRegistry(), lotRegistry()
	return append(
		routes,
		kit.Post(scopes.pathOf()+"/leave", desk.ToRetire, setUpPages{s}.leaveScope),
		kit.Post(scopes.pathOf()+"/return", desk.ToReinstate, setUpPages{s}.returnScope),
		kit.Post(lots.pathOf()+"/recall", desk.ToRecall, setUpPages{s}.recallLot),
		kit.Post(lots.pathOf()+"/take-back", desk.ToTakeBackRecall, setUpPages{s}.takeBackRecall),
	)
}

// rulesRoutes are the rule set, its editions, and how a new one is made.
func rulesRoutes(s *Server) []kit.Route {
	return []kit.Route{
		setUpSection.Page(rulesHref, access.SeeSetUp, "set-up-rules", "Rules", setUpPages{s}.rules),
		setUpSection.Form(rulesHref+"/edit", desk.ToAdoptFrom, "set-up-rules-edit", setUpPages{s}.rulesEdit),
		setUpSection.Form(rulesHref+"/text", desk.ToAdoptFrom, "set-up-rules-text", setUpPages{s}.rulesText),
		setUpSection.Form(rulesHref+"/preview", desk.ToTryRules, "set-up-rules-preview", setUpPages{s}.rulesPast),
		kit.Send(rulesHref+"/preview", desk.ToTryRules, rulesLimit, setUpPages{s}.rulesPreview),
		kit.Send(rulesHref, desk.ToAdoptFrom, rulesLimit, setUpPages{s}.rulesAdopt),
	}
}

// registryRoutes are the pages of a kind of thing.
func registryRoutes(s *Server, r registry) []kit.Route {
	base, form := "/set-up/"+r.path, "/set-up/register/"+r.word
	thing := base + "/{" + r.wild + "}"
	nav := map[bool]string{true: capital(r.many)}[r.path != "targets" && r.path != "levels"]
	return []kit.Route{
		setUpSection.Page(base, access.SeeSetUp, "set-up-"+r.path, nav, func(x *kit.Exchange) error { return setUpPages{s}.listOf(x, r) }),
		kit.Post(base, r.act, func(x *kit.Exchange) error { return setUpPages{s}.register(x, r) }),
		setUpSection.Form(form, r.act, "set-up-form", func(x *kit.Exchange) error { return setUpPages{s}.newThing(x, r) }),
		setUpSection.Page(
			thing,
			access.SeeSetUp,
			"set-up-thing",
			"",
			func(x *kit.Exchange) error { return setUpPages{s}.thing(x, r, http.StatusOK, kit.Sent{}) },
		),
		setUpSection.Form(thing+"/edit", r.act, "set-up-form", func(x *kit.Exchange) error { return setUpPages{s}.editThing(x, r) }),
		kit.Post(thing, r.act, func(x *kit.Exchange) error { return setUpPages{s}.changeThing(x, r) }),
	}
}

// helpRoutes are the pages that explain. They are open to everybody: they tell nothing of this site, and
// whoever stands before a closed door needs them most.
func helpRoutes(s *Server) []kit.Route {
	return []kit.Route{
		helpSection.Page("/help", kit.Public, "help", "Tasks", s.helpList),
		helpSection.Page("/help/cautions", kit.Public, "help-cautions", "Cautions", s.helpCautions),
		helpSection.Page("/help/glossary", kit.Public, "help-glossary", "Words", s.helpGlossary),
		helpSection.Page("/help/{topic}", kit.Public, "help-topic", "", s.helpTopic),
	}
}

// importRoutes are how files are read in. Whoever may not describe the fleet has nothing to do here; what
// a kind of file needs beyond that is said by desk.ImportOf.
func importRoutes(s *Server) []kit.Route {
	return []kit.Route{
		setUpSection.Page("/import", access.ManageFleet, "import", "Import", importPages{s}.importList),
		setUpSection.Page("/import/{kind}", access.ManageFleet, "import-kind", "", importPages{s}.importKind),
		kit.Get("/import/{kind}/template.csv", access.ManageFleet, "", "", importPages{s}.importTemplate),
		kit.Send("/import/{kind}", desk.ToHandIn, importLimit, importPages{s}.importUpload),
		setUpSection.Page("/imports/{file}", access.ManageFleet, "import-file", "", importPages{s}.importFile),
		kit.Post("/imports/{file}", desk.ToHandIn, importPages{s}.importAct),
		kit.Get("/imports/{file}/lines", access.ManageFleet, "", "", importPages{s}.importLines),
		kit.Get("/imports/{file}/profile.yaml", access.ManageFleet, "", "", importPages{s}.importProfile),
	}
}

// peopleRoutes are the accounts, for whoever manages them.
func peopleRoutes(s *Server) []kit.Route {
	return []kit.Route{
		setUpSection.Page("/people", access.ManageAccounts, "people", "People", peoplePages{s}.people),
		kit.Post("/people", identity.ToManageAccounts, peoplePages{s}.peopleAct),
	}
}

// signInRoutes are how people come in and what everybody sets for themselves.
func signInRoutes(s *Server) []kit.Route {
	return []kit.Route{
		kit.Call(http.MethodPost, "/sign-in/passkey/question", identity.ToShowWho, doorPages{s}.withPasskeys(doorPages{s}.askToSignIn)),
		kit.Call(http.MethodPost, "/sign-in/passkey", identity.ToShowWho, doorPages{s}.withPasskeys(doorPages{s}.signInByPasskey)),
		kit.Call(http.MethodPost, "/unlock/passkey/question", identity.ToShowWho, doorPages{s}.withPasskeys(doorPages{s}.askToUnlock)),
		kit.Call(http.MethodPost, "/unlock/passkey", identity.ToShowWho, doorPages{s}.withPasskeys(doorPages{s}.unlockByPasskey)),
		kit.Call(http.MethodPost, "/account/passkeys/question", identity.ToChangeOwn, doorPages{s}.withPasskeys(doorPages{s}.askToAdd)),
		kit.Call(http.MethodPost, "/account/passkeys", identity.ToChangeOwn, doorPages{s}.withPasskeys(doorPages{s}.addPasskey)),
		kit.Get("/account", kit.SignedIn, "account", "", doorPages{s}.account),
		kit.Post("/account", identity.ToChangeOwn, doorPages{s}.ownAct),
		kit.Get("/password", kit.Public, "account", "", doorPages{s}.account),
		kit.Post("/password", identity.ToShowWho, doorPages{s}.passwordAct),
		kit.Get("/sign-in", kit.Public, "sign-in", "", doorPages{s}.signIn),
		kit.Post("/sign-in", identity.ToShowWho, doorPages{s}.signInAct),
		kit.Get("/first-sign-in", kit.Public, "sign-in", "", doorPages{s}.firstSignIn),
		kit.Post("/first-sign-in", identity.ToShowWho, doorPages{s}.firstSignInAct),
		kit.Get("/unlock", kit.Public, "sign-in", "", doorPages{s}.signIn),
		kit.Post("/unlock", identity.ToShowWho, doorPages{s}.unlockAct),
		kit.Post("/switch", identity.ToShowWho, doorPages{s}.switchAct),
		kit.Post("/lock", identity.ToShowWho, doorPages{s}.lockAct),
		kit.Post("/sign-out", identity.ToShowWho, doorPages{s}.signOutAct),
		kit.Get("/static/{name...}", kit.Public, "", "", s.Static),
	}
}

// registries are all of them, in the order in which they build on each other.
func registries() []registry {
	return []registry{modelRegistry(), scopeRegistry(), meterRegistry(), targetRegistry(), lotRegistry(), levelRegistry()}
}
