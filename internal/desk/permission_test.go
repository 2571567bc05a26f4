package desk_test

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store/sqlite"
)

// letters are the roles in the tables below: technician, lead, infection prevention, procedure room, analyst,
// auditor, administrator.
var letters = map[access.Role]string{
	access.Technician:          "T",
	access.Lead:                "L",
	access.InfectionPrevention: "I",
	access.ProcedureRoom:       "P",
	access.Analyst:             "Q",
	access.Auditor:             "V",
	access.Administrator:       "A",
}

// whoMay says who may do each act, apart from the code; ! marks a signature, * what people do who have not signed in.
var whoMay = map[string]string{
	"record a use":                           "TL",
	"record an emergency use":                "TLIPQVA*",
	"record the rest of an emergency use":    "TL",
	"say that an emergency use was seen":     "I!",
	"record a step":                          "TL",
	"record a repair":                        "TL",
	"record a sample":                        "TL",
	"record what is done with a sample":      "TL",
	"record a reading":                       "TL",
	"write a note for the next shift":        "TL",
	"select scopes at random":                "TL",
	"check a meter":                          "TL",
	"ask for samples":                        "TLI",
	"place a hold":                           "TLIP",
	"file a photograph or a document":        "TLI",
	"lift holds":                             "TLI!",
	"compare the clock":                      "TL!",
	"attest what is not proven":              "TL!",
	"say that the records were restored":     "L!",
	"say that nothing happened since a copy": "LI!",
	"sign the start":                         "LI!",
	"sign a stock-take":                      "LI!",
	"erase texts":                            "L!",
	"do something about a signal":            "LI",
	"close a signal or open it again":        "LI!",
	"take records back":                      "TLI",
	"correct records":                        "TLI",
	"finish what was begun":                  "TL",
	"register a model":                       "LA",
	"register a scope":                       "LA",
	"take a scope out of service":            "LA",
	"bring a scope back into service":        "LA",
	"register a meter":                       "LA",
	"register a lot":                         "LA",
	"recall a lot":                           "LA",
	"take a recall back":                     "LI!",
	"register a person":                      "LA",
	"adopt a target":                         "LI!",
	"adopt a rule set":                       "LI!",
	"adopt a level":                          "LI!",
	"adopt limits":                           "LI!",
	"record a comparison":                    "LI",
	"read models in":                         "LA",
	"read fleet in":                          "LA",
	"read people in":                         "LA",
	"read meters in":                         "LA",
	"read lots in":                           "LA",
	"read levels in":                         "L!",
	"read targets in":                        "L!",
	"read uses in":                           "L",
	"read repairs in":                        "L",
	"read steps in":                          "L",
	"read readings in":                       "L",
	"read checks in":                         "L",
	"reveal the number of a patient":         "I!",
	"find the uses on a patient":             "I!",
	"erase the number of a patient":          "I!",

	"seal the patients' numbers anew with another key": "I!",
}

// actorCode is the code of whoever has a role in these tests.
func actorCode(r access.Role) string { return "R-" + string(r) }

// as is somebody of one role who has been here for an hour and showed who they are a while ago.
func (b *bench) as(code string, ago time.Duration, roles ...access.Role) access.Actor {
	return access.Recognised(code, roles, access.ByPassword, access.Times{Created: b.at().Add(-time.Hour), Seen: b.at(), Proved: b.at().Add(-ago)})
}

// attempts are one attempt at each act, all of which come to their end when they are allowed.
type attempts map[string]func(*desk.Work, string) error

func only[T any](_ T, err error) error { return err }

func first[T, U any](_ T, _ U, err error) error { return err }

// everything is a bench at which everything can be done, and an attempt at each act.
func everything(t *testing.T) (*bench, attempts) {
	t.Helper()
	b := rising(t)
	b.trial = true // its end is one of the attempts
	b.targets()
	beside := func(code string) access.Actor {
		if code == actorCode(access.InfectionPrevention) {
			return b.as("L-09", 0, access.Lead)
		}
		return b.as("I-09", 0, access.InfectionPrevention)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Care().SayRestored(desk.Entry{By: "L-01"}, reprocessing.InPlace, 0)
	})
	b.pass(time.Minute)
	// A hold whose end takes nothing but the route and whoever did it, or two people; other tests are about the other kinds.
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", Kind: reprocessing.MeansHold, By: "T-01", Reason: "a doubt"})
	}).Record.ID
	b.pass(time.Minute)
	b.use()
	b.verification("30", "30", "30")
	b.finish()
	b.step(reprocessing.Drying, 12*time.Minute, func(s *reprocessing.Step) { s.By = actorCode(access.Technician) })
	b.step(reprocessing.Storage, 0, func(s *reprocessing.Step) { s.Cabinet, s.End = "drying-cabinet", 0 })
	done := b.at()
	for _, role := range access.Roles { // whoever lifts a hold is somebody that the facility knows
		b.do(func(w *desk.Work) error {
			_, err := w.SettingUp().RegisterPerson(desk.Entry{By: "L-01"}, b.at(), record.PersonBody{Code: actorCode(role), Role: string(role)})
			return err
		})
	}
	signal := b.raised()[0]
	for _, act := range []trend.Handling{{Act: trend.Seen}, {Act: trend.Explained, Cause: trend.LotCause, Words: "another lot"}} {
		if _, err := b.handle(desk.Entry{By: "L-01"}, signal, act); err != nil {
			t.Fatal(err)
		}
	}
	s := b.take(scope.ElevatorRecess)
	taken := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: "T-01"}, s) }).Record.ID
	bare := sampling.Sample{Scope: "D-01", Point: scope.InstrumentLumen, Kit: "K", Lot: "7", By: "T-01", Collected: b.at()}
	unmarked := b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: "T-01"}, bare) }).Record.ID
	gone := scope.Instrument{Tag: "D-02", Model: "D1", Owner: scope.Own, InService: b.at().Add(-2 * time.Hour), Retired: b.at().Add(-time.Hour)}
	retired := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), gone)
	}).Record.ID
	// What each role would take back in its own name, a moment ago.
	notes := map[string]ledger.ID{}
	// What each role has taken, and can attest.
	own := map[string]ledger.ID{}
	for _, r := range access.Roles {
		code := actorCode(r)
		s := b.take(scope.OuterDistalEnd)
		s.By = code
		own[code] = b.must(func(w *desk.Work) (desk.Receipt, error) { return w.Collect(desk.Entry{By: code}, s) }).Record.ID
		tag := "D-02-" + letters[r]
		notes[code] = b.must(func(w *desk.Work) (desk.Receipt, error) {
			if _, err := w.SettingUp().
				RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), scope.Instrument{Tag: tag, Model: "D1", Owner: scope.Own, InService: b.at()}); err != nil {
				return desk.Receipt{}, err
			}
			return w.Ask(desk.Entry{By: code}, sampling.Request{Scope: tag, By: code, Reason: "to see"})
		}).Record.ID
	}
	// Who agrees to something is registered.
	b.person("L-09", access.Lead)
	b.person("I-09", access.InfectionPrevention)
	b.person("T-09", access.Technician)
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(desk.Entry{By: "L-01"}, b.at(), scope.Instrument{Tag: "D-09", Model: "D1", Owner: scope.Own, InService: b.at()})
	})
	b.pass(time.Minute)
	withdrawn := b.must(func(w *desk.Work) (desk.Receipt, error) {
		l := quality.Lot{Kit: "K", Lot: "6", Expires: b.at().Add(24 * time.Hour), Recalled: b.at()}
		return w.SettingUp().RegisterLot(desk.Entry{By: "L-01"}, b.at(), l)
	}).Record.ID
	used := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.RecordUse(desk.Entry{By: "T-01"}, reprocessing.Use{Scope: "D-02-P", Start: b.at().Add(-time.Minute), End: b.at()}, "2063")
	}).Record.ID
	urgent := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return desk.InEmergency(w).RecordEmergency(desk.Entry{By: "T-01"}, "D-02-Q", reprocessing.Emergency{Reason: reprocessing.CannotWait, Decided: "N-01"})
	}).Record.ID
	nextKey, err := sqlite.Folder(b.desk.DB.Home().Dir()).NextPatientKey("")
	if err != nil {
		b.Fatal(err)
	}
	instrument, lot, rules := b.base(record.Instrument, "D-01"), b.base(record.Lot, "K|7"), b.base(record.Rules, "rules")
	now := b.at()
	handling := func(act trend.Act, words string) trend.Handling {
		h := trend.Handling{Signal: signal.ID, Identity: signal.Identity, Begin: signal.Signalled, Last: signal.Signalled, Act: act, Words: words}
		if act == trend.Explained {
			h.Cause = trend.LotCause
		}
		return h
	}
	level := b.distalLevel(150, "2", now)
	level.Adopter = ""
	other := strings.Replace(string(policy.Preset()), "2026-1", "2026-9", 1)
	return b, attempts{
		"RecordUse": func(w *desk.Work, _ string) error {
			return only(w.RecordUse(desk.Entry{}, reprocessing.Use{Scope: "D-01", Start: now.Add(-time.Minute), End: now}, ""))
		},
		"RecordEmergency": func(w *desk.Work, _ string) error {
			return only(desk.InEmergency(w).RecordEmergency(desk.Entry{}, "D-01", reprocessing.Emergency{Reason: reprocessing.LifeInDanger, Decided: "N-01"}))
		},
		"CompleteEmergency": func(w *desk.Work, _ string) error {
			return only(desk.InEmergency(w).CompleteEmergency(desk.Entry{}, urgent, desk.Rest{End: now}))
		},
		"SeeEmergency": func(w *desk.Work, _ string) error {
			return only(desk.InEmergency(w).SeeEmergency(desk.Entry{}, urgent, ""))
		},
		"RecordStep": func(w *desk.Work, by string) error {
			return only(
				w.RecordStep(desk.Entry{}, reprocessing.Step{Scope: "D-01", Kind: reprocessing.ManualCleaning, Start: now.Add(-time.Minute), End: now, By: by}),
			)
		},
		"RecordRepair": func(w *desk.Work, _ string) error {
			return only(w.RecordRepair(desk.Entry{}, scope.Repair{Scope: "D-01", Sent: now, Fault: "a leak"}, ""))
		},
		"Collect": func(w *desk.Work, by string) error {
			s := s
			s.By, s.Collected = by, s.Collected.Add(time.Second)
			return only(w.Collect(desk.Entry{}, s))
		},
		"Mark": func(w *desk.Work, by string) error {
			return only(w.Mark(desk.Entry{}, sampling.Moment{Sample: string(unmarked), Mark: sampling.Dipped, At: now, By: by}))
		},
		"Read": func(w *desk.Work, _ string) error {
			return only(w.Read(desk.Entry{}, desk.Reading{Sample: taken, Meter: "M-1", Value: b.rlu("20"), At: now}))
		},
		"RevealPatient": func(w *desk.Work, _ string) error {
			_, _, err := w.OnPatients().RevealPatient(desk.Entry{}, used, "look-back")
			return err
		},
		"FindPatient": func(w *desk.Work, _ string) error {
			found, err := desk.SeekPatient(w.View, "2063")
			if err == nil {
				_, _, err = w.OnPatients().FindPatient(desk.Entry{}, found, "look-back")
			}
			return err
		},
		"ChangePatientKey": func(w *desk.Work, _ string) error {
			_, _, err := w.OnPatients().ChangePatientKey(desk.Entry{}, nextKey, "the key was copied")
			return err
		},
		"ErasePatient": func(w *desk.Work, _ string) error {
			return only(w.OnPatients().ErasePatient(desk.Entry{}, used, "asked for"))
		},
		"HandOver": func(w *desk.Work, _ string) error {
			return only(w.HandOver(desk.Entry{}, dossier.Handover{Text: "one basin leaks"}))
		},
		"SelectAtRandom": func(w *desk.Work, _ string) error { return first(w.SelectAtRandom(desk.Entry{}, "seed")) },
		"CheckMeter": func(w *desk.Work, _ string) error {
			return first(w.AtMeters().CheckMeter(desk.Entry{}, desk.Check{Meter: "M-1", Controls: []quality.Control{
				{Kind: quality.Positive, Material: "light", Value: 1000, At: now}, {Kind: quality.Blank, Material: "empty chamber", Value: 1, At: now},
			}}))
		},
		"Ask": func(w *desk.Work, _ string) error {
			return only(w.Ask(desk.Entry{}, sampling.Request{Scope: "D-01", Reason: "to see"}))
		},
		"PlaceHold": func(w *desk.Work, _ string) error {
			return only(w.PlaceHold(desk.Entry{}, reprocessing.Hold{Scope: "D-01", Reason: "a doubt"}))
		},
		"Attach": func(w *desk.Work, _ string) error {
			return only(w.Attach(desk.Entry{}, photograph(), picture(b, 4, 4)))
		},
		"LiftHold": func(w *desk.Work, _ string) error {
			return only(w.LiftHold(desk.Entry{Second: b.as("L-09", 0, access.Lead)}, reprocessing.Lift{Hold: string(hold), At: done, Reason: "it was nothing"}))
		},
		"CompareClock": func(w *desk.Work, _ string) error {
			return only(w.Care().CompareClock(desk.Entry{Second: b.as("T-09", 0, access.Technician)}, reprocessing.ClockNote{Other: reprocessing.Phone, Saw: now}))
		},
		"SayRestored": func(w *desk.Work, _ string) error {
			return only(w.Care().SayRestored(desk.Entry{}, reprocessing.InPlace, 0))
		},
		"SignStart": func(w *desk.Work, code string) error {
			return only(w.SettingUp().SignStart(desk.Entry{Second: beside(code)}, ""))
		},
		"TakeStock": func(w *desk.Work, code string) error {
			list := []desk.Listed{{Scope: "D-09", Cabinet: "drying-cabinet", Until: w.Now().Add(time.Hour)}}
			return only(w.Vouching().TakeStock(desk.Entry{Second: beside(code)}, list, []desk.Photograph{{Media: dossier.PNG, Content: picture(b, 4, 4)}}, ""))
		},
		"SayNothingSince": func(w *desk.Work, _ string) error {
			return only(w.Care().SayNothingSince(desk.Entry{Second: b.as("L-09", 0, access.Lead)}, []string{"D-01"}, reprocessing.ByPaper, ""))
		},
		"Attest": func(w *desk.Work, by string) error {
			return only(w.Vouching().Attest(desk.Entry{}, desk.Attested{Of: []ledger.ID{own[by]}, From: reprocessing.OwnAct}))
		},
		"HandleSignal": func(w *desk.Work, _ string) error {
			return only(w.OnSignals().HandleSignal(desk.Entry{}, handling(trend.Explained, "the lot after all")))
		},
		"close": func(w *desk.Work, _ string) error {
			return only(w.OnSignals().HandleSignal(desk.Entry{}, handling(trend.Closed, "done")))
		},
		"Void": func(w *desk.Work, by string) error {
			return only(w.Void(desk.Entry{Corrects: notes[by], Reason: "nobody needs it"}))
		},
		"Correct": func(w *desk.Work, by string) error {
			return only(w.Mending().Correct(desk.Entry{Reason: "said better"}, notes[by], map[string]string{"reason": "to look again"}))
		},
		"Finish": func(w *desk.Work, _ string) error {
			return only(w.Mending().Finish(desk.Entry{}, unmarked, map[string]string{"value": "20", "meter": "M-1"}))
		},
		"Erase": func(w *desk.Work, by string) error {
			return only(w.Erase(desk.Entry{}, notes[by], "reason", record.OutOfPlace))
		},
		"RegisterModel": func(w *desk.Work, _ string) error {
			m := model()
			m.Name = "D9"
			return first(w.SettingUp().RegisterModel(desk.Entry{}, now, m))
		},
		"RegisterInstrument": func(w *desk.Work, _ string) error {
			return only(w.SettingUp().RegisterInstrument(desk.Entry{}, now, scope.Instrument{Tag: "D-09", Model: "D1", Owner: scope.Own, InService: now}))
		},
		"Retire": func(w *desk.Work, _ string) error {
			return only(w.SettingUp().Retire(desk.Entry{Reason: "worn"}, "D-01", instrument, now))
		},
		"Reinstate": func(w *desk.Work, _ string) error {
			return only(w.SettingUp().Reinstate(desk.Entry{Reason: "found"}, "D-02", retired, now))
		},
		"RegisterMeter": func(w *desk.Work, _ string) error {
			return only(w.SettingUp().RegisterMeter(desk.Entry{}, now, quality.Meter{Code: "M-9", System: "A"}))
		},
		"RegisterLot": func(w *desk.Work, _ string) error {
			return only(w.SettingUp().RegisterLot(desk.Entry{}, now, quality.Lot{Kit: "K", Lot: "9", Expires: now.Add(24 * time.Hour)}))
		},
		"Recall": func(w *desk.Work, _ string) error {
			return only(w.SettingUp().Recall(desk.Entry{Reason: "a notice"}, "K|7", lot, now))
		},
		"TakeBackRecall": func(w *desk.Work, _ string) error {
			e := desk.Entry{Reason: "another lot was meant", Second: b.as("L-09", 0, access.Lead)}
			return only(w.SettingUp().TakeBackRecall(e, "K|6", withdrawn, ""))
		},
		"RegisterPerson": func(w *desk.Work, _ string) error {
			return only(w.SettingUp().RegisterPerson(desk.Entry{}, now, record.PersonBody{Code: "X-01"}))
		},
		"RegisterTarget": func(w *desk.Work, _ string) error {
			return only(
				w.AtMeters().
					RegisterTarget(desk.Entry{}, quality.Target{
						System: "A", Kind: quality.Positive, Material: "lamp", Low: 1, High: 2, Source: "test", Edition: "1",
						Adopted: now,
					}),
			)
		},
		"AdoptRules": func(w *desk.Work, _ string) error {
			return first(w.SettingUp().AdoptRules(desk.Entry{}, desk.Adoption{At: now, Name: "r.yaml", Text: []byte(other)}))
		},
		"AdoptFrom": func(w *desk.Work, _ string) error {
			return first(w.SettingUp().AdoptFrom(desk.Entry{Reason: "a year later"}, rules, desk.Adoption{Name: "r.yaml", Text: []byte(other)}))
		},
		"AdoptLevel": func(w *desk.Work, _ string) error { return only(w.SettingUp().AdoptLevel(desk.Entry{}, level)) },
		"AdoptDerived": func(w *desk.Work, _ string) error {
			return only(w.OnSignals().AdoptDerived(desk.Entry{}, level, desk.Grounds{}))
		},
		"AdoptCharts": func(w *desk.Work, _ string) error {
			return only(w.OnSignals().AdoptCharts(desk.Entry{}, desk.Freeze{Watching: desk.UsualWatching()}))
		},
		"AdoptChart": func(w *desk.Work, _ string) error {
			return only(w.OnSignals().AdoptChart(desk.Entry{}, outer, desk.Freeze{Anew: true, Watching: desk.UsualWatching()}, 100))
		},
		"RecordComparison": func(w *desk.Work, _ string) error {
			return only(
				w.OnSignals().RecordComparison(desk.Entry{}, quality.Setup{Kit: "K", Lot: "7"}, quality.Setup{Kit: "K", Lot: "8"}, quality.DefaultPlan(), nil,
					quality.Paired{Finding: quality.Finding{Answer: quality.TooFew, Why: "no pairs"}}),
			)
		},
	}
}

// errUndo takes an attempt back that came to its end.
var errUndo = errors.New("taken back")

// attempt does something as somebody and takes it back.
func (b *bench) attempt(a access.Actor, do func(*desk.Work) error) error {
	err := b.desk.As(a).Do(b.Context(), func(w *desk.Work) error {
		if err := do(w); err != nil {
			return err
		}
		return errUndo
	})
	if errors.Is(err, errUndo) {
		return nil
	}
	return err
}

func TestEveryActAndRole(t *testing.T) {
	b, all := everything(t)
	tried := map[string]bool{}
	for _, act := range desk.Acts {
		name := act.Name
		if act.What == desk.ToCloseSignal.What {
			name = "close"
		}
		do := all[name]
		if do == nil {
			t.Errorf("nobody tries to %s", act.What)
			continue
		}
		tried[act.What] = true
		for _, role := range access.Roles {
			code := actorCode(role)
			b.wantAttempt(act.What, role, func(ago time.Duration) error {
				return b.attempt(b.as(code, ago, role), func(w *desk.Work) error { return do(w, code) })
			})
		}
		if strings.HasSuffix(whoMay[act.What], "*") {
			if err := b.attempt(access.Actor{}, func(w *desk.Work) error { return do(w, "") }); err != nil {
				t.Errorf("%s, as nobody: %v", act.What, err)
			}
			continue
		}
		if err := b.attempt(access.Actor{}, func(w *desk.Work) error { return do(w, "") }); fault.CodeOf(err) != fault.Forbidden {
			t.Errorf("%s, as nobody: %v", act.What, err)
		}
		if err := b.attempt(b.as("X-01", 0), func(w *desk.Work) error { return do(w, "") }); fault.CodeOf(err) != fault.Forbidden {
			t.Errorf("%s, without a role: %v", act.What, err)
		}
	}
	for _, kind := range desk.Kinds {
		what := desk.ImportOf(kind).What
		tried[what] = true
		for _, role := range access.Roles {
			b.wantAttempt(what, role, func(ago time.Duration) error {
				f := desk.File{Kind: kind, Name: "empty.csv", Content: strings.NewReader(strings.SplitAfterN(desk.Example(kind), "\n", 2)[0])}
				return only(b.desk.As(b.as(actorCode(role), ago, role)).Import(b.Context(), f, false))
			})
		}
	}
	for what := range whoMay {
		if !tried[what] {
			t.Errorf("who may %s is written down, and it is no act", what)
		}
	}
}

// wantAttempt compares attempts of a role, signed and stale, with what is written down.
func (b *bench) wantAttempt(what string, role access.Role, try func(ago time.Duration) error) {
	b.Helper()
	who, written := whoMay[what]
	if !written {
		b.Errorf("nobody wrote down who may %s", what)
	}
	for _, proof := range []struct {
		name string
		ago  time.Duration
		good bool
	}{{"signed", 0, true}, {"signed just in time", access.ProofHolds - time.Microsecond, true}, {"stale", access.ProofHolds, false}} {
		var want fault.Code
		switch {
		case !strings.Contains(who, letters[role]):
			want = fault.Forbidden
		case strings.HasSuffix(who, "!") && !proof.good:
			want = fault.Unsigned
		}
		err := try(proof.ago)
		if got := fault.CodeOf(err); got != want || want == "" && err != nil {
			b.Errorf("%s as %s, %s: %v, want the code %q", what, role, proof.name, err, want)
		}
	}
}

// Every method of Work that others can call is an act, and asks whether it may be done before anything else.
func TestEveryMethodOfWorkIsAnAct(t *testing.T) {
	// through writes with what it is given, which is an act itself.
	through := []string{"Edit"}
	// working are Work and its areas, which lead to each other by these methods.
	working := map[string]bool{"Work": true}
	for area, typ := range map[string]any{
		"SettingUp": desk.SettingUp{}, "OnSignals": desk.SignalWork{}, "AtMeters": desk.MeterWork{}, "Care": desk.CareWork{},
		"Vouching": desk.VouchWork{}, "OnPatients": desk.PatientWork{}, "Mending": desk.MendWork{},
	} {
		through = append(through, area)
		working[reflect.TypeOf(typ).Name()] = true
	}
	working[reflect.TypeFor[desk.EmergencyWork]().Name()] = true // to which a function leads
	for m := range reflect.TypeFor[*desk.Work]().Methods() {
		if m.Type.NumOut() == 1 && m.Type.NumIn() == 1 && m.Type.Out(0).Kind() == reflect.Struct {
			if first := m.Type.Out(0).Field(0); first.Anonymous && first.Type == reflect.TypeFor[*desk.Work]() && !working[m.Type.Out(0).Name()] {
				t.Errorf("Work.%s leads to an area that is not looked at", m.Name)
			}
		}
	}
	acts := map[string]bool{}
	for _, a := range desk.Acts {
		acts[a.Name] = true
	}
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok || f.Recv == nil || !f.Name.IsExported() || slices.Contains(through, f.Name.Name) {
				continue
			}
			on := f.Recv.List[0].Type
			if star, ok := on.(*ast.StarExpr); ok {
				on = star.X
			}
			if !working[fmt.Sprint(on)] {
				continue
			}
			if !acts[f.Name.Name] {
				t.Errorf("Work.%s is no act in desk.Acts", f.Name.Name)
			}
			if called := firstCheck(f); called != "To"+f.Name.Name && f.Name.Name != "HandleSignal" {
				t.Errorf("Work.%s begins with a check of %q", f.Name.Name, called)
			}
			delete(acts, f.Name.Name)
		}
	}
	for name := range acts {
		t.Errorf("desk.Acts names %s, and Work has no such method", name)
	}
}

// firstCheck returns the act that the first statement of a method asks for.
func firstCheck(f *ast.FuncDecl) string {
	is, ok := f.Body.List[0].(*ast.IfStmt)
	if !ok {
		return ""
	}
	assign, ok := is.Init.(*ast.AssignStmt)
	if !ok {
		return ""
	}
	call, ok := assign.Rhs[0].(*ast.CallExpr)
	if !ok || call.Fun.(*ast.SelectorExpr).Sel.Name != "may" {
		return ""
	}
	return fmt.Sprint(call.Args[0])
}

// Everybody acts in their own name, but for those who write down what others did.
func TestInWhoseName(t *testing.T) {
	b := start(t)
	ask := func(a access.Actor, e desk.Entry, by string) (r ledger.Record, err error) {
		err = b.desk.As(a).Do(t.Context(), func(w *desk.Work) error {
			got, err := w.Ask(e, sampling.Request{Scope: "D-01", By: by, Reason: "to see"})
			r = got.Record
			return err
		})
		return r, err
	}
	lead := b.as("L-01", 0, access.Lead)
	if r, err := ask(lead, desk.Entry{}, ""); err != nil || r.By != "L-01" || body[sampling.Request](t, r).By != "L-01" {
		t.Errorf("in no name: by %q, %v", r.By, err)
	}
	if _, err := ask(lead, desk.Entry{By: "T-01"}, ""); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("in the name of somebody else: %v", err)
	}
	if _, err := ask(lead, desk.Entry{}, "T-01"); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("with somebody else's wish: %v", err)
	}
	if _, err := ask(access.Operator("L-01"), desk.Entry{By: "T-01"}, ""); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("a command in two names: %v", err)
	}
	if r, err := ask(access.Scribe(), desk.Entry{By: "T-01"}, "T-02"); err != nil || r.By != "T-01" || body[sampling.Request](t, r).By != "T-02" {
		t.Errorf("written down for others: by %q, %v", r.By, err)
	}
}

// The second person of a lift shows who they are, may lift holds themselves, and is another.
func TestSecondPerson(t *testing.T) {
	b := start(t)
	hold := b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", By: "T-01", Reason: "a doubt"})
	}).Record.ID
	b.pass(time.Minute)
	lift := func(a, second access.Actor, named string) error {
		return b.attempt(a, func(w *desk.Work) error {
			return only(w.LiftHold(desk.Entry{Second: second}, reprocessing.Lift{Hold: string(hold), Reason: "it was nothing", Second: named}))
		})
	}
	lead := b.as("L-01", 0, access.Lead)
	for _, test := range []struct {
		reason string
		err    error
		want   fault.Code
	}{
		{"another lead", lift(lead, b.as("L-02", 0, access.Lead), ""), ""},
		{"nobody", lift(lead, access.Actor{}, ""), fault.Invalid},
		{"a name alone", lift(lead, access.Actor{}, "L-02"), fault.Unsigned},
		{"whoever lifts", lift(lead, b.as("l-01", 0, access.Lead), ""), fault.Invalid},
		{"somebody who may not", lift(lead, b.as("T-01", 0, access.Technician), ""), fault.Forbidden},
		{"somebody who showed it long ago", lift(lead, b.as("L-02", access.ProofHolds, access.Lead), ""), fault.Unsigned},
		{"a name alone, at the machine", lift(access.Operator("L-01"), access.Actor{}, "L-02"), ""},
	} {
		if got := fault.CodeOf(test.err); got != test.want || test.want == "" && test.err != nil {
			t.Errorf("%s: %v, want the code %q", test.reason, test.err, test.want)
		}
	}
}

// A slip is taken back or corrected without a signature: one's own, within ten minutes, before anything else
// of the scope. What the rules add to it does not count as something else.
func TestSlips(t *testing.T) {
	b := start(t)
	b.use()
	b.pass(2 * 24 * time.Hour)
	u := reprocessing.Use{Scope: "D-01", Start: b.at().Add(-2 * time.Minute), End: b.at(), Room: "1"}
	record := func() desk.Receipt {
		return b.must(func(w *desk.Work) (desk.Receipt, error) { return w.RecordUse(desk.Entry{By: "T-01"}, u, "") })
	}
	used := record() // while it was not ready: a hold follows
	if len(used.Followed) == 0 {
		t.Fatal("nothing followed from the use")
	}
	stale := access.ProofHolds
	void := func(a access.Actor) error {
		return b.attempt(a, func(w *desk.Work) error { return only(w.Void(desk.Entry{Corrects: used.Record.ID, Reason: "a typo"})) })
	}
	right := func(a access.Actor) error {
		return b.attempt(a, func(w *desk.Work) error {
			x := u
			x.Start = u.Start.Add(time.Minute)
			return only(w.RecordUse(desk.Entry{Corrects: used.Record.ID, Reason: "a typo"}, x, ""))
		})
	}
	want := func(reason string, a access.Actor, code fault.Code) {
		t.Helper()
		for name, do := range map[string]func(access.Actor) error{"taken back": void, "corrected": right} {
			if err := do(a); fault.CodeOf(err) != code || code == "" && err != nil {
				t.Errorf("%s, %s: %v, want the code %q", reason, name, err, code)
			}
		}
		signed, err := b.signed(a, used.Record.ID)
		if code == fault.Forbidden {
			if fault.CodeOf(err) != fault.Forbidden {
				t.Errorf("%s: foretold: %v", reason, err)
			}
		} else if err != nil || signed != (code != "") {
			t.Errorf("%s: foretold that it is a signature: %v, %v", reason, signed, err)
		}
	}
	technician := func(ago time.Duration) access.Actor { return b.as("T-01", ago, access.Technician) }
	want("a moment ago", technician(stale), "")
	want("somebody else's", b.as("T-02", 0, access.Technician), fault.Forbidden)
	want("by a lead who has not signed", b.as("L-01", stale, access.Lead), fault.Unsigned)
	want("by a lead alone", b.as("L-01", 0, access.Lead), fault.Invalid)
	b.now.Move(used.Record.Recorded.Add(access.Slip - time.Microsecond).Sub(b.at()))
	want("just within ten minutes", technician(stale), "")
	b.now.Move(used.Record.Recorded.Add(access.Slip).Sub(b.at()))
	want("after ten minutes", technician(0), fault.Forbidden)

	u.Start, u.End = u.Start.Add(time.Minute), u.End.Add(time.Minute)
	used = record()
	want("another one, a moment ago", technician(stale), "")
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.Ask(desk.Entry{By: "L-01"}, sampling.Request{Scope: "D-01", By: "L-01", Reason: "to see"})
	})
	want("something followed", technician(0), fault.Forbidden)

	// A dry run shows what would follow, and nobody signs it.
	try := func(a access.Actor) error {
		return b.desk.As(a).Try(t.Context(), func(w *desk.Work) error {
			return only(w.Void(desk.Entry{By: a.Code(), Corrects: used.Record.ID, Reason: "to see what follows"}))
		})
	}
	if err := try(b.as("L-01", stale, access.Lead)); err != nil {
		t.Errorf("tried without a signature: %v", err)
	}
	if err := try(b.as("T-02", 0, access.Technician)); fault.CodeOf(err) != fault.Forbidden {
		t.Errorf("tried by somebody who may not: %v", err)
	}
}

// A correction that was sent twice is stored once, although the record that it names has gone by then.
func TestCorrectionSentTwice(t *testing.T) {
	b := start(t)
	b.use()
	read := b.read(scope.OuterDistalEnd, "30")
	x := body[reading.Reading](t, read.Record)
	e := desk.Entry{ID: b.newID(), Corrects: read.Record.ID, Reason: "a typo"}
	send := func() (r desk.Receipt, err error) {
		err = b.desk.As(b.as("T-01", access.ProofHolds, access.Technician)).Do(t.Context(), func(w *desk.Work) (err error) {
			r, err = w.Read(e, desk.Reading{Sample: ledger.ID(x.Sample), Meter: "M-1", Value: b.rlu("35"), At: x.With.At})
			return err
		})
		return r, err
	}
	if r, err := send(); err != nil || !r.Fresh {
		t.Fatalf("%+v, %v", r, err)
	}
	if r, err := send(); err != nil || r.Fresh {
		t.Errorf("sent again: %+v, %v", r, err)
	}
}

// signed says whether taking a record back would be a signature.
func (b *bench) signed(a access.Actor, id ledger.ID) (signed bool, err error) {
	b.Helper()
	err = b.desk.View(b.Context(), func(v desk.View) (err error) {
		taking, err := v.Records().Taking(a, id)
		signed = taking.Signed
		return err
	})
	return signed, err
}
