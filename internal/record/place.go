package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// Placing says into which tables a record goes.
type Placing struct {
	// Entity is the key in the entity table, empty when it is none.
	Entity string
	// Scope, At and Word are the columns of the event table; Scope is empty when it is no event.
	Scope string
	At    unit.Instant
	Word  string
	// Of is the scope that the record is about, which may be no event of it.
	Of string
	// Ended is the last instant that the record speaks of: what is written at the end of a step that took an
	// hour is not late.
	Ended unit.Instant
	// Over is when a use ended, the last instant there is while it goes on; zero for everything else.
	Over unit.Instant
	// Replaces is the record that this one takes the place of, Did what that makes of it, a value of ByState.
	Replaces ledger.ID
	Did      string
	// Final says that nothing may take its place.
	Final    bool
	Measured *Measured
	// Lift is the hold that ends if the lift may end it, Rests are the records that this rests on.
	Lift  string
	Rests []ledger.ID
	// Rules is the edition of the rule set that a verification was decided by. Bears says that lifts may rest on the
	// record, and stand no more when another takes its place.
	Rules string
	Bears bool
	Hold  bool
	// Meter and Verdict are columns of the table of checks; Suspect are the readings that the record
	// takes the trust from.
	Meter, Verdict string
	Suspect        []ledger.ID
	// File is what the record attaches, Note whether it is a hand-over note.
	File *Content
	Note bool
	// Signal is what somebody did about a signal.
	Signal *Handled
	// Erases are the texts that the record erases.
	Erases []FreeText
	// Disinfected is what a disinfection shares with others, nil where it names nothing of that.
	Disinfected *Disinfected
}

// Disinfected are the columns of the table of disinfections, but for those of the record itself.
type Disinfected struct {
	Reprocessor, Disinfectant, Lot string
	// Began is since when the solution is in use by the record.
	Began, Filled, Expires unit.Instant
	Failed                 bool
}

// Measured are the columns of the table that statistics read, but for those of the record itself.
type Measured struct {
	Scope, Point, Kind, System, Kit, Lot, Meter string
	Cleaning                                    int
	At                                          unit.Instant
	Analyte, Unit                               string
	Value                                       float64
	Outcome                                     string
}

// Content names the bytes of a file.
type Content struct {
	Digest string
	Size   int64
}

// Redo is what has to be decided again when a record goes.
type Redo struct {
	Scope string
	// Cleaning is that of the verification, 0 when there is none; Inside is an instant of its cycle, or when the
	// sample was collected that Sample names.
	Cleaning int
	Inside   unit.Instant
	Sample   ledger.ID
	// Meter is the meter whose checks are weighed again, At an instant among them.
	Meter string
	At    unit.Instant
}

// Relation is a record that another one names, and what it is to that one.
type Relation struct {
	Words string
	ID    ledger.ID
}
