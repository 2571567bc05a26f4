package reprocessing_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
)

// Who signs in these tests.
var (
	technician = []access.Role{access.Technician}
	aLead      = []access.Role{access.Lead}
	prevention = []access.Role{access.InfectionPrevention}
)

// signedBy is a lift by one or two people, each with their roles.
func signedBy(by []access.Role, second ...[]access.Role) reprocessing.Lift {
	l := reprocessing.Lift{Hold: "hold", Scope: "D-01", By: "A-01", Reason: "said in words", ByRoles: by}
	for _, roles := range second {
		l.Second, l.SecondRoles = "B-02", roles
	}
	return l
}

// routed returns the good history with the whole route gone through again, four hours later.
func routed(t *testing.T) reprocessing.History {
	t.Helper()
	h := good(t)
	const later = 4 * hour
	for _, s := range h.Steps {
		if s.Kind == reprocessing.PointOfUse || s.Kind == reprocessing.Transport {
			continue
		}
		s.ID = "second " + s.ID
		s.Start += later
		if s.End.Known() {
			s.End += later
		}
		h.Steps = append(h.Steps, s)
	}
	h.Samples = append(h.Samples, samples(2, instant(t, "13:22"))...)
	h.Filed = append(
		h.Filed,
		reprocessing.Filed{Stamp: stamp("photograph", instant(t, "12:56")+hour), About: "second inspection", Photograph: true},
		reprocessing.Filed{Stamp: stamp("report", instant(t, "15:30")), Report: true},
	)
	h.Decisions = append(h.Decisions, decision("second round", 2, instant(t, "08:30"), instant(t, "13:22"), instant(t, "13:30"), reading.OK))
	return h
}

// secondRoute are the records of the second route.
var secondRoute = []string{
	"second leak-test", "second manual-cleaning", "second inspection", "second disinfection", "second final-rinse", "second drying",
}

// reportedRoute are those with the report that was filed after them.
var reportedRoute = slices.Concat([]string{"second round"}, secondRoute, []string{"report"})

func dropped(h *reprocessing.History, id string) {
	h.Steps = slices.DeleteFunc(slices.Clone(h.Steps), func(s reprocessing.Step) bool { return s.ID == id })
}

func changed(h *reprocessing.History, id string, change func(*reprocessing.Step)) {
	for i := range h.Steps {
		if h.Steps[i].ID == id {
			change(&h.Steps[i])
		}
	}
}

func repairedAt(t *testing.T, h *reprocessing.History, returned string) {
	t.Helper()
	h.Repairs = append(h.Repairs, reprocessing.Repair{
		Stamp: stamp("repair", instant(t, returned)), Repair: scope.Repair{Scope: "D-01", Sent: instant(t, "11:10"), Returned: instant(t, returned)},
	})
}

// Every kind of hold, with what ends it and who signs. The hold is placed at 11:00, after a whole route; a second route
// begins at 12:50, and somebody lifts at 16:00.
func TestWhatEndsAHold(t *testing.T) {
	type history = *reprocessing.History
	kind := func(k reprocessing.HoldKind) reprocessing.Hold { return reprocessing.Hold{Kind: k} }
	followed := func(k reprocessing.HoldKind, cause string) reprocessing.Hold {
		return reprocessing.Hold{Kind: k, Cause: cause}
	}
	escalated := reprocessing.Hold{Kind: reprocessing.CleaningHold, Cause: "failed", Escalated: true}
	nothing := func(h history) { *h = good(t) }
	ready := &reprocessing.Answer{State: reprocessing.Ready, Steps: []reprocessing.Progress{
		{Step: reprocessing.ManualCleaning, Status: reprocessing.DoneStep, Record: "manual-cleaning"},
		{Step: reprocessing.Verification, Status: reprocessing.DoneStep, Record: "round 1"},
		{Step: reprocessing.Disinfection, Status: reprocessing.DoneStep, Record: "disinfection"},
	}}
	tests := []struct {
		name   string
		hold   reprocessing.Hold
		change func(history)
		lift   reprocessing.Lift
		before *reprocessing.Answer
		rules  func(*reprocessing.Rules)
		nobody bool // is named for the steps
		// want is what is missing, empty where the hold ends; over is what it then rests on.
		want string
		over []string
	}{
		// cleaning
		{
			name: "cleaning, a person's", hold: kind(reprocessing.CleaningHold),
			lift: signedBy(nil), over: []string{"second round", "second manual-cleaning"},
		},
		{
			name: "cleaning, by whoever sampled", hold: followed(reprocessing.CleaningHold, "failed"), lift: signedBy(nil),
			over: []string{"second round", "second manual-cleaning"},
		},
		{
			name: "cleaning, nothing since", hold: followed(reprocessing.CleaningHold, "failed"), change: nothing, lift: signedBy(aLead, prevention),
			want: "no cleaning verification that was sampled after it and passed is on record",
		},
		{
			name: "cleaning, sampled again without a cleaning", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { dropped(h, "second manual-cleaning") }, lift: signedBy(aLead, prevention),
			want: "no manual cleaning is on record between it and the cleaning verification that passed",
		},
		{
			name: "cleaning, cleaned after it was sampled", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) {
				changed(h, "second manual-cleaning", func(s *reprocessing.Step) { s.End = instant(t, "13:22") + us })
			}, lift: signedBy(aLead, prevention), want: "no manual cleaning is on record between",
		},
		{
			name: "cleaning, cleaned for less than the rules ask for", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) {
				changed(h, "second manual-cleaning", func(s *reprocessing.Step) { s.End = s.Start + 161*unit.Instant(unit.Second) })
			}, lift: signedBy(nil), want: "took 2min41s, which is not as long as it should",
		},
		{
			name: "cleaning, cleaned until the first sample", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) {
				changed(h, "second manual-cleaning", func(s *reprocessing.Step) { s.End = instant(t, "13:22") })
			}, lift: signedBy(nil), over: []string{"second round", "second manual-cleaning"},
		},
		{
			name: "cleaning, sampled at the instant of the hold", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { h.Decisions[1].First = instant(t, "11:00") }, lift: signedBy(aLead, prevention), want: "no cleaning verification",
		},
		{
			name: "cleaning, alert passes", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { h.Decisions[1].Verification.Outcome = reading.Alert }, lift: signedBy(nil),
			over: []string{"second round", "second manual-cleaning"},
		},
		{
			name: "cleaning, over the action level again", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { h.Decisions[1].Verification.Outcome = reading.Action }, lift: signedBy(aLead, prevention), want: "no cleaning verification",
		},
		{
			name: "cleaning, incomplete", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { h.Decisions[1].Verification.Complete = false }, lift: signedBy(aLead, prevention), want: "no cleaning verification",
		},
		{
			name: "cleaning, of another scope", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { h.Decisions[1].Scope = "D-02" }, lift: signedBy(aLead, prevention), want: "no cleaning verification",
		},
		{
			name: "cleaning, read after the lift", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { h.Decisions[1].Last = instant(t, "16:00") + us }, lift: signedBy(aLead, prevention), want: "no cleaning verification",
		},
		{
			name: "cleaning, the decision was taken back, two people", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { *h = good(t); h.Decisions[0].Supersedes = "failed" }, lift: signedBy(aLead, prevention), over: []string{"round 1"},
		},
		{
			name: "cleaning, the decision was taken back, one person", hold: followed(reprocessing.CleaningHold, "failed"),
			change: func(h history) { *h = good(t); h.Decisions[0].Supersedes = "failed" }, lift: signedBy(aLead),
			want: "ends with the signature of a lead or infection prevention, and a second person",
		},
		{
			name: "cleaning, the decision stands", hold: followed(reprocessing.CleaningHold, "round 1"),
			change: func(h history) { *h = good(t); h.Decisions[0].Supersedes = "earlier" }, lift: signedBy(aLead, prevention),
			want: "the cleaning verification that placed it stands",
		},

		// after the last cleaning
		{
			name: "escalated, inspected", hold: escalated, lift: signedBy(aLead, aLead),
			over: []string{"second round", "second manual-cleaning", "second inspection"},
		},
		{
			name: "escalated, repaired", hold: escalated,
			change: func(h history) { dropped(h, "second inspection"); repairedAt(t, h, "12:00") }, lift: signedBy(prevention, aLead),
			over: []string{"second round", "second manual-cleaning", "repair"},
		},
		{
			name: "escalated, nobody looked", hold: escalated, change: func(h history) { dropped(h, "second inspection") }, lift: signedBy(aLead, aLead),
			want: "no inspection that passed and no repair is on record after it",
		},
		{name: "escalated, nothing passed", hold: escalated, change: nothing, lift: signedBy(aLead, aLead), want: "no cleaning verification"},
		{name: "escalated, one person", hold: escalated, lift: signedBy(aLead), want: "ends with the signature of a lead and a second person"},
		{
			name: "escalated, no lead", hold: escalated,
			lift: signedBy(prevention, prevention), want: "ends with the signature of a lead and a second person",
		},

		// culture and water
		{name: "culture", hold: kind(reprocessing.CultureHold), lift: signedBy(prevention), over: reportedRoute},
		{
			name: "culture, a lead", hold: kind(reprocessing.CultureHold),
			lift: signedBy(aLead, aLead), want: "ends with the signature of infection prevention",
		},
		{
			name: "culture, prevention agrees", hold: kind(reprocessing.CultureHold),
			lift: signedBy(aLead, prevention), over: reportedRoute,
		},
		{
			name: "culture, no report", hold: kind(reprocessing.CultureHold), change: func(h history) { h.Filed = h.Filed[:1] }, lift: signedBy(prevention),
			want: "no report of the laboratory was filed with the scope after it was reprocessed",
		},
		{
			name: "culture, a report of before it was reprocessed", hold: kind(reprocessing.CultureHold), lift: signedBy(prevention),
			change: func(h history) { h.Filed[1].Recorded = instant(t, "12:00") }, want: "no report of the laboratory was filed with the scope after it was reprocessed",
		},
		{
			name: "culture, a report that is filed later", hold: kind(reprocessing.CultureHold), lift: signedBy(prevention),
			change: func(h history) { h.Filed[1].Recorded = instant(t, "16:00") + us }, want: "no report of the laboratory was filed",
		},
		{
			name: "water, no report", hold: kind(reprocessing.WaterHold), change: func(h history) { h.Filed = h.Filed[:1] }, lift: signedBy(prevention),
			want: "no report of the water was filed with the scope after it",
		},
		{
			name: "water, the report that placed it", hold: kind(reprocessing.WaterHold), lift: signedBy(prevention),
			change: func(h history) { h.Filed[1].Recorded = instant(t, "11:00") }, want: "no report of the water was filed with the scope after it",
		},
		{
			name: "water, reprocessed after the report", hold: kind(reprocessing.WaterHold), lift: signedBy(prevention),
			change: func(h history) { h.Filed[1].Recorded = instant(t, "11:00") + us }, over: reportedRoute,
		},
		{
			name: "culture, not reprocessed", hold: kind(reprocessing.CultureHold), change: nothing,
			lift: signedBy(prevention), want: "is not on record after it",
		},
		{name: "water", hold: kind(reprocessing.WaterHold), lift: signedBy(prevention), over: reportedRoute},
		{name: "water, a lead", hold: kind(reprocessing.WaterHold), lift: signedBy(aLead), want: "ends with the signature of infection prevention"},
		{
			name: "water, not reprocessed", hold: kind(reprocessing.WaterHold), change: nothing,
			lift: signedBy(prevention), want: "is not on record after it",
		},

		// leak
		{
			name: "leak", hold: kind(reprocessing.LeakHold), change: func(h history) { repairedAt(t, h, "12:00") }, lift: signedBy(aLead),
			over: []string{"repair", "second leak-test"},
		},
		{
			name: "leak, tested again alone", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead, prevention),
			want: "no repair to which the scope was sent after it",
		},
		{
			name: "leak, tested before it was back", hold: kind(reprocessing.LeakHold), change: func(h history) { repairedAt(t, h, "12:51") },
			lift: signedBy(aLead), want: "no leak test that passed, with who did it, is on record after a repair",
		},
		{
			name: "leak, sent to repair before it failed", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead),
			change: func(h history) { repairedAt(t, h, "12:00"); h.Repairs[0].Sent = instant(t, "11:00") - us },
			want:   "no repair to which the scope was sent after it",
		},
		{
			name: "leak, sent to repair as it failed", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead),
			change: func(h history) { repairedAt(t, h, "12:00"); h.Repairs[0].Sent = instant(t, "11:00") },
			over:   []string{"repair", "second leak-test"},
		},
		{
			name: "leak, tested by nobody", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead), nobody: true,
			change: func(h history) { repairedAt(t, h, "12:00") }, want: "no leak test that passed, with who did it",
		},
		{
			name: "leak, repaired and failed again", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead),
			change: func(h history) {
				repairedAt(t, h, "12:00")
				changed(h, "second leak-test", func(s *reprocessing.Step) { s.Result = reprocessing.Fail })
			}, want: "no leak test that passed",
		},
		{
			name: "leak, repaired, failed again, and passed without another repair", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead),
			change: func(h history) {
				repairedAt(t, h, "12:00")
				h.Steps = append(h.Steps, reprocessing.Step{
					Stamp: stamp("failed again", instant(t, "12:41")), Scope: "D-01", Kind: reprocessing.LeakTest, Start: instant(t, "12:40"),
					End: instant(t, "12:41"), By: "A-01", Result: reprocessing.Fail,
				})
			}, want: "no leak test that passed, with who did it, is on record after a repair",
		},
		{
			name: "leak, repaired, and the test written down a day later", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead),
			change: func(h history) {
				repairedAt(t, h, "12:00")
				changed(h, "second leak-test", func(s *reprocessing.Step) { s.Recorded = s.End.Add(reprocessing.LateAfter) + 1 })
			}, want: "no leak test that passed",
		},
		{
			name: "disinfection, written down a day later", hold: kind(reprocessing.DisinfectionHold), lift: signedBy(technician),
			change: func(h history) {
				changed(h, "second disinfection", func(s *reprocessing.Step) { s.Recorded = s.End.Add(reprocessing.LateAfter) + 1 })
			}, want: "disinfection",
		},
		{
			name: "leak, repaired and tested without a result", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead),
			change: func(h history) {
				repairedAt(t, h, "12:00")
				changed(h, "second leak-test", func(s *reprocessing.Step) { s.Result = reprocessing.NotStated })
			}, want: "no leak test that passed",
		},
		{
			name: "leak, whoever did it", hold: kind(reprocessing.LeakHold), change: func(h history) { repairedAt(t, h, "12:00") },
			lift: signedBy(technician, technician), want: "ends with the signature of a lead",
		},
		{
			name: "leak, the rules ask for a second test alone", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead), over: []string{"second leak-test"},
			rules: afterLeak(reprocessing.JustRepeat),
		},
		{
			name: "leak, the rules ask for a second test, and there is none", hold: kind(reprocessing.LeakHold), change: nothing, lift: signedBy(aLead),
			rules: afterLeak(reprocessing.JustRepeat), want: "no leak test that passed, with who did it, is on record after it",
		},
		{
			name: "leak, at the instant of the hold", hold: kind(reprocessing.LeakHold), lift: signedBy(aLead), rules: afterLeak(reprocessing.JustRepeat),
			change: func(h history) {
				changed(h, "second leak-test", func(s *reprocessing.Step) { s.Start = instant(t, "11:00") })
			}, want: "no leak test that passed",
		},

		// damage
		{name: "damage, inspected", hold: kind(reprocessing.DamageHold), lift: signedBy(aLead), over: []string{"second inspection", "photograph"}},
		{
			name: "damage, pictured for the scope", hold: kind(reprocessing.DamageHold), lift: signedBy(aLead),
			change: func(h history) { h.Filed[0].About = "" }, over: []string{"second inspection", "photograph"},
		},
		{
			name: "damage, inspected without a picture", hold: kind(reprocessing.DamageHold), lift: signedBy(aLead, prevention),
			change: func(h history) { h.Filed = h.Filed[1:] },
			want:   "no photograph is filed with the inspection that passed, and no repair is on record after it",
		},
		{
			name: "damage, the picture of something else", hold: kind(reprocessing.DamageHold), lift: signedBy(aLead),
			change: func(h history) { h.Filed[0].About = "inspection" }, want: "no photograph is filed with the inspection",
		},
		{
			name: "damage, a picture of before the inspection", hold: kind(reprocessing.DamageHold), lift: signedBy(aLead),
			change: func(h history) { h.Filed[0].About, h.Filed[0].Recorded = "", instant(t, "12:00") }, want: "no photograph is filed with the inspection",
		},
		{
			name: "damage, repaired", hold: kind(reprocessing.DamageHold), change: func(h history) { *h = good(t); repairedAt(t, h, "12:00") },
			lift: signedBy(aLead), over: []string{"repair"},
		},
		{
			name: "damage, sent to repair before it was seen", hold: kind(reprocessing.DamageHold), lift: signedBy(aLead),
			change: func(h history) { *h = good(t); repairedAt(t, h, "12:00"); h.Repairs[0].Sent = instant(t, "11:00") - us },
			want:   "no repair and no inspection",
		},
		{
			name: "damage, nothing since", hold: kind(reprocessing.DamageHold), change: nothing,
			lift: signedBy(aLead, prevention), want: "no repair and no inspection",
		},
		{
			name: "damage, away for repair", hold: kind(reprocessing.DamageHold), change: func(h history) { *h = good(t); repairedAt(t, h, "16:01") },
			lift: signedBy(aLead), want: "no repair and no inspection",
		},
		{name: "damage, no lead", hold: kind(reprocessing.DamageHold), lift: signedBy(prevention), want: "ends with the signature of a lead"},

		// disinfection and means
		{
			name: "disinfection", hold: kind(reprocessing.DisinfectionHold), lift: signedBy(technician), over: append([]string{"second round"}, secondRoute...),
		},
		{
			name: "disinfection, nothing since", hold: kind(reprocessing.DisinfectionHold), change: nothing,
			lift: signedBy(aLead, prevention), want: "leak test is not on record after it",
		},
		{
			name: "disinfection, one step left out", hold: kind(reprocessing.DisinfectionHold), change: func(h history) { dropped(h, "second leak-test") },
			lift: signedBy(technician), want: "leak test is not on record after it",
		},
		{
			name: "disinfection, not sampled again", hold: kind(reprocessing.DisinfectionHold),
			change: func(h history) { h.Decisions, h.Samples = h.Decisions[:1], h.Samples[:4] }, lift: signedBy(technician),
			want: "cleaning verification is on record as out of order",
		},
		{
			name: "disinfection, not proven", hold: kind(reprocessing.DisinfectionHold),
			change: func(h history) {
				changed(h, "second disinfection", func(s *reprocessing.Step) { s.DisinfectantLot = "" })
			}, lift: signedBy(technician), want: "disinfection is on record as failed",
		},
		{
			name: "disinfection, still drying", hold: kind(reprocessing.DisinfectionHold),
			change: func(h history) { changed(h, "second drying", func(s *reprocessing.Step) { s.End = 0 }) }, lift: signedBy(technician),
			want: "drying is on record as running",
		},
		{
			name: "disinfection, used since", hold: kind(reprocessing.DisinfectionHold),
			change: func(h history) {
				h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use 2", instant(t, "15:00")), Scope: "D-01", Start: instant(t, "15:00"), End: instant(t, "15:30")})
			}, lift: signedBy(technician), want: "is not on record after it",
		},
		{name: "means", hold: kind(reprocessing.MeansHold), lift: signedBy(technician), over: append([]string{"second round"}, secondRoute...)},
		{
			name: "means, nothing since", hold: kind(reprocessing.MeansHold), change: nothing,
			lift: signedBy(aLead, prevention), want: "is not on record after it",
		},

		// recall
		{name: "recall", hold: kind(reprocessing.RecallHold), lift: signedBy(aLead), over: []string{"report"}},
		{
			name: "recall, nothing on record", hold: kind(reprocessing.RecallHold), change: nothing, lift: signedBy(aLead, prevention),
			want: "no report of what the notice asks for was filed with the scope after it",
		},
		{
			name: "recall, no lead", hold: kind(reprocessing.RecallHold),
			lift: signedBy(technician), want: "ends with the signature of a lead",
		},

		// exposure
		{
			name: "exposure", hold: kind(reprocessing.ExposureHold), lift: signedBy(prevention, aLead), over: append([]string{"second round"}, secondRoute...),
		},
		{
			name: "exposure, prevention agrees", hold: kind(reprocessing.ExposureHold), lift: signedBy(aLead, prevention),
			over: append([]string{"second round"}, secondRoute...),
		},
		{
			name: "exposure, alone", hold: kind(reprocessing.ExposureHold),
			lift: signedBy(prevention), want: "ends with the signature of infection prevention and a second person",
		},
		{
			name: "exposure, two leads", hold: kind(reprocessing.ExposureHold),
			lift: signedBy(aLead, aLead), want: "ends with the signature of infection prevention and a second person",
		},
		{
			name: "exposure, a second who lifts no holds", hold: kind(reprocessing.ExposureHold), lift: signedBy(prevention, technician),
			want: "ends with the signature of infection prevention and a second person",
		},
		{
			name: "exposure, not reprocessed", hold: kind(reprocessing.ExposureHold), change: nothing,
			lift: signedBy(prevention, aLead), want: "is not on record after it",
		},
		{
			name: "exposure, it had been ready", hold: followed(reprocessing.ExposureHold, "use 2"), change: nothing, lift: signedBy(prevention, aLead), before: ready,
			over: []string{"round 1", "manual-cleaning", "disinfection"},
		},
		{
			name: "exposure, it had been ready, whoever did it", hold: followed(reprocessing.ExposureHold, "use 2"), change: nothing,
			lift: signedBy(technician, technician), before: ready, want: "ends with the signature of infection prevention and a second person",
		},

		// record
		{
			name: "record, it arrived", hold: followed(reprocessing.RecordHold, "use 2"), change: nothing, lift: signedBy(aLead), before: ready,
			over: []string{"round 1", "manual-cleaning", "disinfection"},
		},
		{
			name: "record, it did not", hold: followed(reprocessing.RecordHold, "use 2"), change: nothing, lift: signedBy(aLead, prevention),
			before: &reprocessing.Answer{State: reprocessing.InReprocessing}, want: "what was missing when the use began is not on record",
		},
		{
			name: "record, it cannot be had", hold: followed(reprocessing.RecordHold, "use 2"), lift: signedBy(aLead),
			before: &reprocessing.Answer{State: reprocessing.InReprocessing}, over: append([]string{"second round"}, secondRoute...),
		},
		{name: "record, no lead", hold: kind(reprocessing.RecordHold), lift: signedBy(technician), want: "ends with the signature of a lead"},
		{name: "record of no use", hold: kind(reprocessing.RecordHold), change: nothing, lift: signedBy(aLead), before: ready, want: "it speaks of no use"},

		// other
		{name: "other", hold: kind(reprocessing.OtherHold), change: nothing, lift: signedBy(aLead, prevention)},
		{name: "other, alone", hold: kind(reprocessing.OtherHold), lift: signedBy(aLead), want: "ends with the signature of a lead and a second person"},
		{
			name: "other, no lead", hold: kind(reprocessing.OtherHold),
			lift: signedBy(prevention, prevention), want: "ends with the signature of a lead and a second person",
		},
		{
			name: "other, a technician agrees", hold: kind(reprocessing.OtherHold),
			lift: signedBy(aLead, technician), want: "ends with the signature of a lead and a second person",
		},
		{name: "a kind that nobody knows", hold: kind("smell"), lift: signedBy(technician), want: "ends with the signature of a lead and a second person"},
		{name: "no kind", hold: kind(""), lift: signedBy(technician), want: "ends with the signature of a lead and a second person"},

		// the clock
		{
			name: "placed in doubt, alone", hold: reprocessing.Hold{Kind: reprocessing.DisinfectionHold, Stamp: reprocessing.Stamp{Unsure: instant(t, "11:00")}},
			lift: signedBy(technician), want: "was placed while the computer's clock was in doubt: it takes a second person",
		},
		{
			name: "placed in doubt, two", hold: reprocessing.Hold{Kind: reprocessing.DisinfectionHold, Stamp: reprocessing.Stamp{Unsure: instant(t, "11:00")}},
			lift: signedBy(technician, technician), over: append([]string{"second round"}, secondRoute...),
		},
	}
	rows := map[reprocessing.HoldKind]bool{}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			h, rules := routed(t), preset(t)
			if test.change != nil {
				test.change(&h)
			}
			if test.rules != nil {
				test.rules(&rules)
			}
			doneBy(&h, "A-01", "A-01") // who lifts
			if test.nobody {
				doneBy(&h, " ", "A-01")
			}
			hold, lift := test.hold, test.lift
			hold.ID, hold.Scope, hold.At, hold.By, hold.Reason = "hold", "D-01", instant(t, "11:00"), "T-01", "r"
			lift.ID, lift.At = "lift", instant(t, "16:00")
			got, err := hold.Lifted(lift, reprocessing.Grounds{Since: h, Rules: &rules, Zone: berlin(t), Before: test.before})
			wantError(t, err, test.want)
			if test.want == "" {
				rows[hold.Of()] = true
				if diff := cmp.Diff(test.over, got.Rests()); diff != "" {
					t.Errorf("rests on (-want +got):\n%s", diff)
				}
			}
			// What is refused does not end the hold either when it is on record, and what is not refused does.
			h.Holds, h.Lifts = []reprocessing.Hold{hold}, []reprocessing.Lift{got}
			if open := len(h.OpenHolds()) > 0; open != (test.want != "") {
				t.Errorf("open = %t", open)
			}
			// Without any of the records that it rests on the hold is open again.
			for _, id := range got.Rests() {
				less := h
				dropped(&less, id)
				less.Decisions = slices.DeleteFunc(slices.Clone(h.Decisions), func(d reprocessing.Decision) bool { return d.ID == id })
				less.Filed = slices.DeleteFunc(slices.Clone(h.Filed), func(f reprocessing.Filed) bool { return f.ID == id })
				less.Repairs = slices.DeleteFunc(slices.Clone(h.Repairs), func(r reprocessing.Repair) bool { return r.ID == id })
				if len(less.OpenHolds()) == 0 {
					t.Errorf("ended without %s", id)
				}
			}
		})
	}
	for _, k := range reprocessing.HoldKinds {
		if !rows[k] {
			t.Errorf("nothing ends a hold for %s here", k)
		}
	}
}

func afterLeak(a reprocessing.AfterFail) func(*reprocessing.Rules) {
	return func(r *reprocessing.Rules) {
		r.Steps = slices.Clone(r.Steps)
		for i := range r.Steps {
			if r.Steps[i].Step == reprocessing.LeakTest {
				r.Steps[i].AfterFail = a
			}
		}
	}
}

// The kinds are in the order of release.md, so that a hold changes only to a stricter one.
func TestStricterKinds(t *testing.T) {
	want := []reprocessing.HoldKind{
		"record", "means", "cleaning", "other", "recall", "disinfection", "leak", "damage", "water", "culture", "exposure",
	}
	if diff := cmp.Diff(want, reprocessing.HoldKinds); diff != "" {
		t.Error(diff)
	}
	for i, k := range want {
		for j, than := range want {
			if got := k.Stricter(than); got != (i > j) {
				t.Errorf("%s stricter than %s: %t", k, than, got)
			}
		}
	}
}

// A lift that is dated before its hold, or names another scope, ends nothing.
func TestLiftOfSomethingElse(t *testing.T) {
	hold := reprocessing.Hold{Kind: reprocessing.OtherHold, Scope: "D-01", At: 100}
	good := signedBy(aLead, prevention)
	good.At = 100
	for name, test := range map[string]struct {
		change func(*reprocessing.Lift)
		want   bool
	}{
		"at the instant":             {func(*reprocessing.Lift) {}, true},
		"before the hold":            {func(l *reprocessing.Lift) { l.At = 99 }, false},
		"of another scope":           {func(l *reprocessing.Lift) { l.Scope = "D-02" }, false},
		"nobody":                     {func(l *reprocessing.Lift) { l.By = "" }, false},
		"one person twice":           {func(l *reprocessing.Lift) { l.Second = l.By }, false},
		"one person, other letters":  {func(l *reprocessing.Lift) { l.Second = " a-01 " }, false},
		"before what a clock said":   {func(l *reprocessing.Lift) { l.At, l.Placed = 90, 80 }, true},
		"before it was placed":       {func(l *reprocessing.Lift) { l.At, l.Placed = 70, 80 }, false},
		"alone, before the clock":    {func(l *reprocessing.Lift) { l.At, l.Placed, l.Second = 90, 80, "" }, false},
		"late where nothing is late": {func(l *reprocessing.Lift) { l.Late = true }, false},
	} {
		l := good
		test.change(&l)
		if got := l.Ends(hold, reprocessing.History{}); got != test.want {
			t.Errorf("%s: ends = %t, want %t", name, got, test.want)
		}
	}
}

// Fewer people, fewer records or a later hold never end more than what ended.
func TestLiftsAreMonotone(t *testing.T) {
	roles := [][]access.Role{nil, technician, aLead, prevention, {access.Lead, access.InfectionPrevention}}
	rules, zone := preset(t), berlin(t)
	ended := 0
	rapid.Check(t, func(rt *rapid.T) {
		h := routed(t)
		hold := reprocessing.Hold{
			Stamp: stamp("hold", instant(t, "11:00")), Scope: "D-01", Kind: rapid.SampledFrom(reprocessing.HoldKinds).Draw(rt, "kind"),
			At: between(rt, "placed", instant(t, "08:00"), instant(t, "14:40")), By: "T-01", Reason: "r",
			Cause: rapid.SampledFrom([]string{"", "cause"}).Draw(rt, "cause"), Escalated: rapid.Bool().Draw(rt, "escalated"),
		}
		if rapid.Bool().Draw(rt, "repaired") {
			repairedAt(t, &h, "12:00")
		}
		doneBy(&h, "A-01", "A-01") // who lifts
		lift := signedBy(rapid.SampledFrom(roles).Draw(rt, "by"))
		if rapid.Bool().Draw(rt, "two") {
			lift = signedBy(lift.ByRoles, rapid.SampledFrom(roles).Draw(rt, "second"))
		}
		lift.ID, lift.At = "lift", instant(t, "16:00")
		ends := func(hold reprocessing.Hold, l reprocessing.Lift) bool {
			h.Holds, h.Lifts = []reprocessing.Hold{hold}, []reprocessing.Lift{l}
			return len(h.OpenHolds()) == 0
		}
		full, err := hold.Lifted(lift, reprocessing.Grounds{Since: h, Rules: &rules, Zone: zone})
		if err != nil {
			if ends(hold, full) {
				rt.Fatalf("refused and yet ended: %v", err)
			}
			return
		}
		ended++
		if !ends(hold, full) {
			rt.Fatalf("recorded and yet open: %+v", full)
		}
		alone := full
		alone.Second, alone.SecondRoles, alone.Verification, alone.Evidence = "", nil, "", nil
		if l, err := hold.Lifted(alone, reprocessing.Grounds{Since: h, Rules: &rules, Zone: zone}); err != nil && ends(hold, l) {
			rt.Fatalf("one of the two is refused (%v) and yet ends it", err)
		}
		nobody := full
		nobody.ByRoles, nobody.SecondRoles = nil, nil
		if _, signing := hold.Waits(full.At, reprocessing.Grounds{Since: h, Rules: &rules, Zone: zone}); signing != reprocessing.ByDoer && ends(hold, nobody) {
			rt.Fatal("people of no role end it")
		}
		later := hold
		later.At = full.At + 1
		if ends(later, full) {
			rt.Fatal("a lift ends what came after it")
		}
	})
	if ended == 0 {
		t.Error("no drawn hold ended: the property shows nothing")
	}
}

// A use that began while the scope was not ready, by what was lacking.
func TestUnready(t *testing.T) {
	begun := instant(t, "2026-01-01T00:00:00Z")
	use := instant(t, "12:00")
	hold := func(k reprocessing.HoldKind) func(*reprocessing.History) {
		return func(h *reprocessing.History) {
			h.Holds = []reprocessing.Hold{{Stamp: stamp("hold", use-hour), Scope: "D-01", Kind: k, At: use - hour, By: "T-01", Reason: "a name"}}
		}
	}
	const second = 1_000_000
	tests := []struct {
		name   string
		change func(*reprocessing.History)
		want   reprocessing.HoldKind // empty where it was ready
		lacks  string
	}{
		{"ready", func(*reprocessing.History) {}, "", ""},
		{
			"no leak test", func(h *reprocessing.History) { *h = without(*h, reprocessing.LeakTest) },
			reprocessing.ExposureHold, "leak test is not on record",
		},
		{
			"no manual cleaning", func(h *reprocessing.History) { *h = without(*h, reprocessing.ManualCleaning) },
			reprocessing.ExposureHold, "manual cleaning is not on record",
		},
		{
			"no disinfection", func(h *reprocessing.History) { *h = without(*h, reprocessing.Disinfection) },
			reprocessing.ExposureHold, "disinfection has not begun",
		},
		{
			"disinfected hours after the cleaning", func(h *reprocessing.History) {
				for i := range h.Steps {
					if s := &h.Steps[i]; s.Kind == reprocessing.ManualCleaning {
						s.Start, s.End, s.Recorded = s.Start-2*hour, s.End-2*hour, s.Recorded-2*hour
					}
				}
				h.Uses[0].Start, h.Uses[0].End = h.Uses[0].Start-2*hour, h.Uses[0].End-2*hour
				for _, kind := range []reprocessing.StepKind{reprocessing.PointOfUse, reprocessing.Transport, reprocessing.LeakTest} {
					s := step(t, h, kind)
					s.Start, s.End, s.Recorded = s.Start-2*hour, s.End-2*hour, s.Recorded-2*hour
				}
			},
			reprocessing.ExposureHold, "disinfection began at 2026-03-02 10:35 +01:00, later than 2026-03-02 10:17 +01:00",
		},
		{
			"a disinfection that proves nothing", func(h *reprocessing.History) { step(t, h, reprocessing.Disinfection).DisinfectantLot = "" },
			reprocessing.ExposureHold, "the lot is not on record",
		},
		{
			"a failed leak test", func(h *reprocessing.History) { step(t, h, reprocessing.LeakTest).Result = reprocessing.Fail },
			reprocessing.ExposureHold, "leak test at",
		},
		{
			"late and not soaked", func(h *reprocessing.History) { *h = without(*h, reprocessing.PointOfUse) },
			reprocessing.ExposureHold, "no soak for delayed reprocessing",
		},
		{
			"no step at all", func(h *reprocessing.History) { h.Steps, h.Samples, h.Decisions = nil, nil, nil },
			reprocessing.ExposureHold, "no reprocessing step is on record",
		},
		{
			"still in use", func(h *reprocessing.History) {
				h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("other", use-hour), Scope: "D-01", Start: use - hour})
			},
			reprocessing.ExposureHold, "in use on a patient",
		},
		{
			"no inspection", func(h *reprocessing.History) { *h = without(*h, reprocessing.Inspection) },
			reprocessing.RecordHold, "inspection is not on record",
		},
		{"no drying", func(h *reprocessing.History) { *h = without(*h, reprocessing.Drying) }, reprocessing.RecordHold, "drying has not begun"},
		{"not sampled", func(h *reprocessing.History) { h.Samples, h.Decisions = nil, nil }, reprocessing.RecordHold, "sampling is due"},
		{"out of the cabinet for too long", func(h *reprocessing.History) {
			*h = without(*h, reprocessing.Storage)
			h.Steps = append(h.Steps, reprocessing.Step{Scope: "D-01", Kind: reprocessing.Storage, Start: instant(t, "11:25"), Cabinet: "nowhere"})
		}, reprocessing.RecordHold, `cabinet "nowhere" is not in the rule set`},
		{"away for repair", func(h *reprocessing.History) {
			h.Repairs = []reprocessing.Repair{{Stamp: stamp("repair", use-hour), Repair: scope.Repair{Scope: "D-01", Sent: use - hour, Fault: "a name"}}}
		}, reprocessing.RecordHold, "away for repair"},
		{"not known", func(h *reprocessing.History) {
			h.Uses, h.Steps, h.Samples, h.Decisions = nil, nil, nil, nil
		}, reprocessing.ExposureHold, "no reprocessing step is on record since it came into service"},
		{"a hold for culture", hold(reprocessing.CultureHold), reprocessing.ExposureHold, "on hold (culture) since"},
		{"a hold for water", hold(reprocessing.WaterHold), reprocessing.ExposureHold, "on hold (water) since"},
		{"a hold for disinfection", hold(reprocessing.DisinfectionHold), reprocessing.ExposureHold, "on hold (disinfection) since"},
		{"a hold for a leak", hold(reprocessing.LeakHold), reprocessing.ExposureHold, "on hold (leak) since"},
		{"a hold for cleaning", hold(reprocessing.CleaningHold), reprocessing.ExposureHold, "on hold (cleaning) since"},
		{"a hold for exposure", hold(reprocessing.ExposureHold), reprocessing.ExposureHold, "on hold (exposure) since"},
		{"a hold for damage", hold(reprocessing.DamageHold), reprocessing.ExposureHold, "on hold (damage) since"},
		{"another hold", hold(reprocessing.OtherHold), reprocessing.ExposureHold, "on hold since"},
		{"a hold of no kind", hold(""), reprocessing.ExposureHold, "on hold since"},
		{"a hold for means", hold(reprocessing.MeansHold), reprocessing.RecordHold, "on hold (means) since"},
		{"a hold for a recall", hold(reprocessing.RecallHold), reprocessing.RecordHold, "on hold (recall) since"},
		{"a hold for a record", hold(reprocessing.RecordHold), reprocessing.RecordHold, "on hold (record) since"},
		{"a hold one second before", func(h *reprocessing.History) {
			hold(reprocessing.LeakHold)(h)
			h.Holds[0].At = use - second
		}, reprocessing.ExposureHold, "on hold (leak) since"},
		{"a hold less than a second before", func(h *reprocessing.History) {
			hold(reprocessing.LeakHold)(h)
			h.Holds[0].At, h.Holds[0].Recorded = use-second+us, use-second+us
		}, "", ""},
		{"a hold that names a time less than a second before, and was recorded earlier", func(h *reprocessing.History) {
			hold(reprocessing.LeakHold)(h)
			h.Holds[0].At = use - second + us
		}, reprocessing.ExposureHold, "on hold (leak) since"},
		{"a word for what was lacking, given after the use", func(h *reprocessing.History) {
			s := step(t, h, reprocessing.Drying)
			s.Recorded = s.End.Add(reprocessing.LateAfter) + 1
			h.Attestations = []reprocessing.Attestation{word(use+hour, reprocessing.WhoDidIt, s.ID)}
		}, reprocessing.RecordHold, "written down more than 12h after it ended"},
		{"a disinfection that was stamped in doubt", func(h *reprocessing.History) {
			step(t, h, reprocessing.Disinfection).Unsure = use
		}, reprocessing.ExposureHold, "disinfection was recorded while the computer's clock was in doubt"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			h := good(t)
			test.change(&h)
			// What comes later changes nothing.
			h.Uses = append(h.Uses, reprocessing.Use{Stamp: stamp("use 2", use), Scope: "D-01", Start: use})
			u, unready := h.Unready(preset(t), use, begun, started, berlin(t))
			if unready != (test.want != "") || u.Kind != test.want {
				t.Fatalf("unready = %t, %q, want %q: %q", unready, u.Kind, test.want, u.Lacking)
			}
			if unready && (!strings.Contains(u.Reason(), test.lacks) || !strings.HasPrefix(u.Reason(), "a use began while the scope was not ready: ")) {
				t.Errorf("reason %q, want %q in it", u.Reason(), test.lacks)
			}
			if strings.Contains(u.Reason(), "a name") {
				t.Errorf("the reason repeats what a person typed: %q", u.Reason())
			}
		})
	}
	// The records of a site may begin between a use and the next: what nobody did is lacking all the same.
	t.Run("nothing since the records began", func(t *testing.T) {
		h := good(t)
		h.Steps, h.Samples, h.Decisions = nil, nil, nil
		for _, from := range []unit.Instant{h.Uses[0].Start, h.Uses[0].Start + us, use - us} {
			if u, unready := h.Unready(preset(t), use, from, started, berlin(t)); !unready || u.Kind != reprocessing.ExposureHold {
				t.Errorf("records from %s on: unready = %t, %q", from, unready, u.Kind)
			}
		}
	})
	t.Run("on trial", func(t *testing.T) {
		h := good(t)
		h.Uses, h.Steps, h.Samples, h.Decisions = nil, nil, nil, nil
		for _, test := range []struct {
			name string
			site reprocessing.Opening
			want bool
		}{
			{"on trial", reprocessing.Opening{Trial: true}, false},
			{"started after the use", reprocessing.Opening{Trial: true, Start: &reprocessing.StartNote{At: use + us}}, false},
			{"started with the use", reprocessing.Opening{Trial: true, Start: &reprocessing.StartNote{At: use}}, true},
			{"started before", started, true},
			{"never on trial, and never started", reprocessing.Opening{}, true},
		} {
			u, unready := h.Unready(preset(t), use, begun, test.site, berlin(t))
			if unready != test.want || unready && u.Kind != reprocessing.ExposureHold {
				t.Errorf("%s: unready = %t, %q", test.name, unready, u.Kind)
			}
		}
		on := reprocessing.Opening{Trial: true}
		h.Steps = []reprocessing.Step{{Scope: "D-01", Kind: reprocessing.Drying, Start: use - hour, End: use - hour + 20*mins}}
		if u, unready := h.Unready(preset(t), use, use-hour, on, berlin(t)); !unready || u.Kind != reprocessing.ExposureHold {
			t.Errorf("one step is on record: unready = %t, %q", unready, u.Kind)
		}
		h.Steps = nil
		hold(reprocessing.LeakHold)(&h)
		if u, unready := h.Unready(preset(t), use, begun, on, berlin(t)); !unready || u.Kind != reprocessing.ExposureHold {
			t.Errorf("bad news on trial: unready = %t, %q", unready, u.Kind)
		}
	})
}

// started is a site whose start was signed long ago.
var started = reprocessing.Opening{Trial: true, Start: &reprocessing.StartNote{At: 1}}

// An adverse fact before a use never makes it one of a scope that was ready, and never makes the hold milder.
func TestUnreadyIsMonotone(t *testing.T) {
	rules, zone := preset(t), berlin(t)
	morning, begun := instant(t, "08:00"), instant(t, "2026-01-01T00:00:00Z")
	ready := 0
	rapid.Check(t, func(rt *rapid.T) {
		h := disturb(rt, good(t), morning)
		use := between(rt, "use", morning+3*hour, morning+24*hour)
		worse, fact := worsen(rt, h, morning, use-1_000_000)
		if fact == "" {
			rt.Skip("no such fact")
		}
		before, was := h.Unready(rules, use, begun, started, zone)
		after, is := worse.Unready(rules, use, begun, started, zone)
		if !was {
			ready++
		}
		if was && !is {
			rt.Fatalf("%s made it ready; before: %q", fact, before.Lacking)
		}
		// A further use or a repair begins a cycle of its own, with holds of its own.
		if was && before.Kind.Stricter(after.Kind) && !strings.Contains(fact, "use") && fact != "repair" && fact != "away" {
			rt.Fatalf("%s made the hold milder, from %s to %s; before: %q; after: %q", fact, before.Kind, after.Kind, before.Lacking, after.Lacking)
		}
	})
	if ready == 0 {
		t.Error("no drawn history was ready: the property shows nothing")
	}
}

// A step that failed and the hold that it placed are told once; the step is shown as failed, and what to do comes first.
func TestFailureIsToldOnce(t *testing.T) {
	for _, test := range []struct {
		kind reprocessing.StepKind
		fail func(*reprocessing.Step)
		want reprocessing.HoldKind
	}{
		{reprocessing.LeakTest, func(s *reprocessing.Step) { s.Result = reprocessing.Fail }, reprocessing.LeakHold},
		{reprocessing.Inspection, func(s *reprocessing.Step) { s.Result = reprocessing.Fail }, reprocessing.DamageHold},
		{reprocessing.Disinfection, func(s *reprocessing.Step) { s.Result = reprocessing.Fail }, reprocessing.DisinfectionHold},
		{reprocessing.Disinfection, func(s *reprocessing.Step) { s.MEC = reprocessing.Fail }, reprocessing.DisinfectionHold},
	} {
		h := good(t)
		failed := step(t, &h, test.kind)
		test.fail(failed)
		kind, ok := failed.FailedHold()
		if !ok || kind != test.want {
			t.Errorf("%s: hold %q, %t, want %q", test.kind, kind, ok, test.want)
		}
		h.Holds = []reprocessing.Hold{{
			Stamp: stamp("hold", failed.End), Scope: "D-01", Kind: kind, At: failed.FailedAt(), By: "T-01", Reason: failed.FailedReason(berlin(t)), Cause: failed.ID,
		}}
		a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
		wantState(t, a, reprocessing.OnHold, "on hold ("+string(kind)+") since")
		told := 0
		for _, r := range a.Reasons {
			if r.Record == failed.ID || r.Record == "hold" {
				told++
			}
		}
		if told != 1 {
			t.Errorf("%s is told %d times: %+v", test.kind, told, a.Reasons)
		}
		if got := status(t, a, test.kind); got != reprocessing.FailedStep {
			t.Errorf("%s: status %q", test.kind, got)
		}
		// A whole route does again whatever lacks; what else lacks comes before a decision.
		if last := a.Next[len(a.Next)-1]; last != h.Holds[0].Next() || (len(a.Next) < 2) != (kind == reprocessing.DisinfectionHold) {
			t.Errorf("%s: next %q", test.kind, a.Next)
		}
	}
	for _, s := range []reprocessing.Step{
		{Kind: reprocessing.LeakTest, Result: reprocessing.Pass},
		{Kind: reprocessing.LeakTest},
		{Kind: reprocessing.LeakTest, MEC: reprocessing.Fail},
		{Kind: reprocessing.Drying, Result: reprocessing.Fail},
		{Kind: reprocessing.ManualCleaning, Result: reprocessing.Fail},
	} {
		if kind, ok := s.FailedHold(); ok {
			t.Errorf("%+v places a hold for %s", s, kind)
		}
	}
}

// A hold that ends over a whole route has that done first: single steps before it would be for nothing. Once its cleaning
// has begun they are what is next.
func TestWholeRouteComesFirst(t *testing.T) {
	for _, kind := range reprocessing.HoldKinds {
		for _, escalated := range []bool{false, true} {
			h := good(t)
			h.Steps = slices.DeleteFunc(slices.Clone(h.Steps), func(s reprocessing.Step) bool { return s.Kind == reprocessing.Drying })
			hold := reprocessing.Hold{
				Stamp: stamp("hold", instant(t, "11:50")), Scope: "D-01", Kind: kind, At: instant(t, "11:50"), By: "T-01", Reason: "r", Escalated: escalated,
			}
			h.Holds = []reprocessing.Hold{hold}
			const dry = "disinfect again, then dry at once"
			a := reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			whole := !slices.Contains([]reprocessing.HoldKind{
				reprocessing.RecordHold, reprocessing.OtherHold, reprocessing.RecallHold, reprocessing.LeakHold, reprocessing.DamageHold,
			}, kind) && (kind != reprocessing.CleaningHold || escalated)
			if whole && (len(a.Next) != 1 || a.Next[0] != hold.Next()) || !whole && !slices.Contains(a.Next, dry) {
				t.Errorf("%s, escalated %t: next %q", kind, escalated, a.Next)
			}
			h.Steps = append(h.Steps, reprocessing.Step{
				Stamp: stamp("again", instant(t, "11:55")), Scope: "D-01", Kind: reprocessing.ManualCleaning, Start: instant(t, "11:55"), By: "T-01",
			})
			a = reprocessing.Release(h, preset(t), instant(t, "12:00"), berlin(t))
			if !slices.Contains(a.Next, dry) || a.Next[0] == hold.Next() {
				t.Errorf("%s, escalated %t, cleaned again: next %q", kind, escalated, a.Next)
			}
		}
	}
}

func TestPlacedKinds(t *testing.T) {
	if got, want := slices.Sorted(slices.Values(reprocessing.PlacedKinds)), slices.Sorted(slices.Values(reprocessing.HoldKinds)); !slices.Equal(got, want) {
		t.Errorf("whoever places a hold may choose %v, there are %v", got, want)
	}
}
