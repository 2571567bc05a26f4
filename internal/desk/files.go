package desk

// Kind is a kind of file that can be read in.
type Kind string

// The kinds.
const (
	Models   Kind = "models"
	Fleet    Kind = "fleet"
	People   Kind = "people"
	Meters   Kind = "meters"
	Lots     Kind = "lots"
	Levels   Kind = "levels"
	Targets  Kind = "targets"
	Checks   Kind = "checks"
	Uses     Kind = "uses"
	Repairs  Kind = "repairs"
	Steps    Kind = "steps"
	Readings Kind = "readings"
)

// Kinds lists every kind in the order in which files have to be read in: what others refer to comes
// first.
var Kinds = []Kind{Models, Fleet, People, Meters, Lots, Levels, Targets, Uses, Repairs, Steps, Readings, Checks}
