package storetest

import "testing"

// Run tries an engine. It is called from a test in the engine's own folder, beneath that of package store.
func Run(t *testing.T, e Engine) {
	t.Helper()
	tests := []struct {
		name string
		run  func(*testing.T, Engine)
	}{
		{"Append", appendAndRead},
		{"SameIDTwice", sameIDTwice},
		{"Refusals", refusals},
		{"Clock", clockSetBack},
		{"GroupCommit", groupCommit},
		{"Panic", panicking},
		{"GivenUp", givenUp},
		{"Try", try},
		{"RefusedInTheMiddle", refusedInTheMiddle},
		{"Snapshot", snapshot},
		{"ReadOverAndOver", readOverAndOver},
		{"EditionsMeanwhile", editionsMeanwhile},
		{"AppendOnly", appendOnly},
		{"Guards", guards},
		{"Compare", compare},
		{"CompareIndex", compareIndex},
		{"Examine", examine},
		{"ExamineWithFault", examineFault},
		{"BeginsWith", beginsWith},
		{"Replace", replace},
		{"LiftFallsWithItsVerification", liftFallsWithItsVerification},
		{"LiftByOne", liftByOne},
		{"Rebuild", rebuild},
		{"RebuildModel", rebuildModel},
		{"Accounts", accounts},
		{"Attempts", attempts},
		{"Sessions", sessions},
		{"Passkeys", passkeys},
		{"Checkpoints", checkpoints},
		{"ExportAndProof", exportAndProof},
		{"Files", files},
		{"FileRefusals", fileRefusals},
		{"Disguise", disguise},
		{"Search", search},
		{"DamagedIndex", damagedIndex},
		{"Values", values},
		{"Statements", statements},
		{"QueryPlans", queryPlans},
		{"Close", closing},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) { test.run(t, e) })
	}
}
