package web

// The pages by what people do with them. Each has the handlers of its routes and what only they need; what
// several share is on Server, and what knows no page is in kit.
type (
	// dayPages tell what needs somebody today and what may be used.
	dayPages struct{ *Server }
	// urgentPages are for what cannot wait: emergency uses, and the paper for when the computer is down.
	urgentPages struct{ *Server }
	// scopePages tell and do what is about one scope: holds, repairs, files, its dossier.
	scopePages struct{ *Server }
	// benchPages are the bench and what its script asks for.
	benchPages struct{ *Server }
	// numberPages are the series, their charts and signals, and failures.
	numberPages struct{ *Server }
	// sourcePages tell where differences between readings come from.
	sourcePages struct{ *Server }
	// levelPages are the levels, and how they are derived, judged and adopted.
	levelPages struct{ *Server }
	// meterPages are the meters, their checks, and lots and meters beside each other.
	meterPages struct{ *Server }
	// recordPages find and show records and prove them.
	recordPages struct{ *Server }
	// setUpPages describe the facility and its rules.
	setUpPages struct{ *Server }
	// importPages read files in.
	importPages struct{ *Server }
	// peoplePages are the accounts.
	peoplePages struct{ *Server }
	// doorPages let people in and are where they change what is their own.
	doorPages struct{ *Server }
)
