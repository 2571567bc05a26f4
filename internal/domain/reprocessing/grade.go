package reprocessing

import "rinsate/internal/base/unit"

// Grade is how far a scope is from ready, in steps that a person at a bedside can weigh.
type Grade string

// The grades. They are stored nowhere.
const (
	Nothing        Grade = "nothing"        // it is ready
	OnlyTime       Grade = "time"           // everything was done; since then only time has passed
	OnlyRecord     Grade = "record"         // every step is there; something of them is not proven, or it was taken out
	NotVerified    Grade = "verification"   // cleaned and disinfected; the cleaning verification is missing
	NotDry         Grade = "drying"         // cleaned and disinfected; something after that is missing
	NotDisinfected Grade = "disinfection"   // disinfection or leak test is missing
	NotCleaned     Grade = "cleaning"       // so is cleaning
	AtPatient      Grade = "use"            // a use has no end on record
	Unclear        Grade = "not known"      // nobody can say
	Held           Grade = "hold"           // somebody or something speaks against it
	NotHere        Grade = "out of service" // retired, or away
)

// Grades lists every grade, the mildest first.
var Grades = []Grade{Nothing, OnlyTime, OnlyRecord, NotVerified, NotDry, NotDisinfected, NotCleaned, AtPatient, Unclear, Held, NotHere}

// Short is how far a scope was from ready when somebody asked: "clean, one day over" is not "not clean". It makes no scope
// ready: it is for whoever has to decide about a patient who cannot wait.
type Short struct {
	Grade Grade `json:"grade"`
	// Words are one plain line, and Over is since when only time stands against the scope.
	Words string       `json:"words"`
	Over  unit.Instant `json:"over,omitzero"`
}
