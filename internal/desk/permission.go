package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/trend"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Acting is the desk for one actor: the only way to do anything at it.
type Acting struct {
	desk  *Desk
	actor access.Actor
}

// As returns the desk for whoever acts.
func (d *Desk) As(a access.Actor) Acting { return Acting{d, a} }

// Do runs work in a transaction: all of it is stored durably, or nothing.
func (a Acting) Do(ctx context.Context, work func(*Work) error) error {
	return a.desk.DB.Write(ctx, func(tx *store.Tx) error { return a.work(tx, false, work) })
}

// Try runs work and takes everything back: a dry run, for which nobody signs. Where nothing can be written it is for
// work that only asks.
func (a Acting) Try(ctx context.Context, work func(*Work) error) error {
	if store.Looking(a.desk.DB) {
		return a.desk.DB.Read(ctx, func(tx *store.Tx) error { return a.work(tx, true, work) })
	}
	return a.desk.DB.Try(ctx, func(tx *store.Tx) error { return a.work(tx, true, work) })
}

// work does work as who the actor is by what is on record.
func (a Acting) work(tx *store.Tx, dry bool, work func(*Work) error) error {
	actor, err := identity.On(tx).Bound(a.actor)
	if err != nil {
		return err
	}
	return work(&Work{View: View{a.desk, tx}, actor: actor, dry: dry})
}

// The acts, each with what it takes. An act has the name of the method of Work that does it.
var (
	ToRecordUse = access.Act{Name: "RecordUse", What: "record a use", Needs: needs(access.RecordStep)}
	// ToRecordEmergency is for whoever stands at the patient, who may have no account: it can only speak against a scope.
	ToRecordEmergency   = access.Act{Name: "RecordEmergency", What: "record an emergency use", Anybody: true}
	ToCompleteEmergency = access.Act{Name: "CompleteEmergency", What: "record the rest of an emergency use", Needs: needs(access.RecordStep)}
	// ToSeeEmergency takes infection prevention: see EmergencyWork.SeeEmergency.
	ToSeeEmergency = access.Act{Name: "SeeEmergency", What: "say that an emergency use was seen", Needs: needs(access.SeePatients), Signed: true}

	ToRecordStep     = access.Act{Name: "RecordStep", What: "record a step", Needs: needs(access.RecordStep)}
	ToRecordRepair   = access.Act{Name: "RecordRepair", What: "record a repair", Needs: needs(access.RecordStep)}
	ToCollect        = access.Act{Name: "Collect", What: "record a sample", Needs: needs(access.RecordStep)}
	ToMark           = access.Act{Name: "Mark", What: "record what is done with a sample", Needs: needs(access.RecordStep)}
	ToRead           = access.Act{Name: "Read", What: "record a reading", Needs: needs(access.RecordStep)}
	ToHandOver       = access.Act{Name: "HandOver", What: "write a note for the next shift", Needs: needs(access.RecordStep)}
	ToSelectAtRandom = access.Act{Name: "SelectAtRandom", What: "select scopes at random", Needs: needs(access.RecordStep)}
	// ToAttest takes a lead for what somebody else did: see VouchWork.Attest.
	ToAttest     = access.Act{Name: "Attest", What: "attest what is not proven", Needs: needs(access.RecordStep), Signed: true}
	ToCheckMeter = access.Act{Name: "CheckMeter", What: "check a meter", Needs: needs(access.CheckMeter)}

	ToAsk       = access.Act{Name: "Ask", What: "ask for samples", Needs: needs(access.PlaceHold, access.SeeScope)}
	ToPlaceHold = access.Act{Name: "PlaceHold", What: "place a hold", Needs: needs(access.PlaceHold)}
	ToAttach    = access.Act{Name: "Attach", What: "file a photograph or a document", Needs: needs(access.PlaceHold, access.SeeScope)}
	// ToLiftHold takes more, by what the hold is for: see Work.LiftHold.
	ToLiftHold = access.Act{Name: "LiftHold", What: "lift holds", Either: needs(access.LiftHold, access.RecordStep), Signed: true}
	// toAgree is what a second person has to be allowed, whatever the hold is for.
	toAgree = access.Act{Name: "LiftHold", What: "lift holds", Needs: needs(access.LiftHold), Signed: true}
	// ToCompareClock takes a second person besides, unless the lead does it: see CareWork.CompareClock.
	ToCompareClock = access.Act{Name: "CompareClock", What: "compare the clock", Needs: needs(access.RecordStep), Signed: true}
	ToSayRestored  = access.Act{Name: "SayRestored", What: "say that the records were restored", Needs: needs(access.VoidRecord), Signed: true}
	// ToSayNothingSince takes two of whom one is a lead: see CareWork.SayNothingSince.
	ToSayNothingSince = access.Act{
		Name: "SayNothingSince", What: "say that nothing happened since a copy", Needs: needs(access.LiftHold), Signed: true,
	}
	// ToSignStart and ToTakeStock take a lead and infection prevention: see SettingUp.SignStart and VouchWork.TakeStock.
	ToSignStart = access.Act{Name: "SignStart", What: "sign the start", Needs: needs(access.LiftHold), Signed: true}
	ToTakeStock = access.Act{Name: "TakeStock", What: "sign a stock-take", Needs: needs(access.LiftHold), Signed: true}
	// ToHandleSignal is also how a signal is closed and opened again, which is ToCloseSignal.
	ToHandleSignal = access.Act{Name: "HandleSignal", What: "do something about a signal", Needs: needs(access.PlaceHold, access.SeeNumbers)}
	ToCloseSignal  = access.Act{Name: "HandleSignal", What: "close a signal or open it again", Needs: needs(access.Adopt, access.SeeNumbers), Signed: true}
	// ToVoid takes more, by what is taken back: see Work.Void.
	ToVoid = access.Act{Name: "Void", What: "take records back", Either: needs(access.VoidRecord, access.RecordStep, access.PlaceHold, access.CheckMeter)}
	// ToCorrect and ToFinish take what the act takes by which the record was written.
	ToCorrect = access.Act{Name: "Correct", What: "correct records", Either: needs(access.VoidRecord, access.RecordStep, access.PlaceHold, access.CheckMeter)}
	ToFinish  = access.Act{Name: "Finish", What: "finish what was begun", Needs: needs(access.RecordStep)}

	ToErase = access.Act{Name: "Erase", What: "erase texts", Needs: needs(access.VoidRecord), Signed: true}

	ToRevealPatient = access.Act{Name: "RevealPatient", What: "reveal the number of a patient", Needs: needs(access.SeePatients), Signed: true}
	ToFindPatient   = access.Act{Name: "FindPatient", What: "find the uses on a patient", Needs: needs(access.SeePatients), Signed: true}
	ToErasePatient  = access.Act{Name: "ErasePatient", What: "erase the number of a patient", Needs: needs(access.SeePatients), Signed: true}
	// ToChangePatientKey is for whoever may see the numbers: to seal them anew they have to be opened.
	ToChangePatientKey = access.Act{
		Name: "ChangePatientKey", What: "seal the patients' numbers anew with another key", Needs: needs(access.SeePatients), Signed: true,
	}

	ToRegisterModel      = access.Act{Name: "RegisterModel", What: "register a model", Needs: needs(access.ManageFleet)}
	ToRegisterInstrument = access.Act{Name: "RegisterInstrument", What: "register a scope", Needs: needs(access.ManageFleet)}
	ToRetire             = access.Act{Name: "Retire", What: "take a scope out of service", Needs: needs(access.ManageFleet)}
	ToReinstate          = access.Act{Name: "Reinstate", What: "bring a scope back into service", Needs: needs(access.ManageFleet)}
	ToRegisterMeter      = access.Act{Name: "RegisterMeter", What: "register a meter", Needs: needs(access.ManageFleet)}
	ToRegisterLot        = access.Act{Name: "RegisterLot", What: "register a lot", Needs: needs(access.ManageFleet)}
	ToRecall             = access.Act{Name: "Recall", What: "recall a lot", Needs: needs(access.ManageFleet)}
	ToTakeBackRecall     = access.Act{Name: "TakeBackRecall", What: "take a recall back", Needs: needs(access.LiftHold), Signed: true}
	ToRegisterPerson     = access.Act{Name: "RegisterPerson", What: "register a person", Needs: needs(access.ManageFleet)}

	ToRegisterTarget   = access.Act{Name: "RegisterTarget", What: "adopt a target", Needs: needs(access.Adopt), Signed: true}
	ToAdoptRules       = access.Act{Name: "AdoptRules", What: "adopt a rule set", Needs: needs(access.Adopt), Signed: true}
	ToAdoptFrom        = access.Act{Name: "AdoptFrom", What: "adopt a rule set", Needs: needs(access.Adopt), Signed: true}
	ToAdoptLevel       = access.Act{Name: "AdoptLevel", What: "adopt a level", Needs: needs(access.Adopt), Signed: true}
	ToAdoptDerived     = access.Act{Name: "AdoptDerived", What: "adopt a level", Needs: needs(access.Adopt), Signed: true}
	ToAdoptCharts      = access.Act{Name: "AdoptCharts", What: "adopt limits", Needs: needs(access.Adopt), Signed: true}
	ToAdoptChart       = access.Act{Name: "AdoptChart", What: "adopt limits", Needs: needs(access.Adopt), Signed: true}
	ToRecordComparison = access.Act{Name: "RecordComparison", What: "record a comparison", Needs: needs(access.Adopt)}

	// What leads to acts: each is asked for itself when it is done.
	ToWorkAtBench = access.Act{What: "work at the bench", Needs: needs(access.RecordStep)}
	ToHandIn      = access.Act{What: "read files in", Needs: needs(access.ManageFleet)}

	// What computes for a page and records nothing.
	ToStudyNumbers  = access.Act{What: "study numbers", Needs: needs(access.SeeNumbers)}
	ToCompareLedger = access.Act{What: "compare a copy with the ledger", Needs: needs(access.SeeRecords)}
	ToTryRules      = access.Act{What: "see what a rule set would change", Needs: needs(access.Adopt)}
)

// Acts are all acts that record something, but for the reading in of files: see ImportOf.
var Acts = []access.Act{
	ToRecordUse, ToRecordEmergency, ToCompleteEmergency, ToSeeEmergency, ToRecordStep, ToRecordRepair, ToCollect, ToMark, ToRead, ToHandOver,
	ToSelectAtRandom, ToAttest, ToCheckMeter, ToAsk, ToPlaceHold, ToAttach, ToLiftHold, ToCompareClock, ToSayRestored, ToSayNothingSince,
	ToSignStart, ToTakeStock, ToHandleSignal, ToCloseSignal,
	ToVoid, ToCorrect, ToFinish, ToErase, ToRevealPatient, ToFindPatient, ToErasePatient, ToChangePatientKey,
	ToRegisterModel, ToRegisterInstrument, ToRetire, ToReinstate, ToRegisterMeter, ToRegisterLot, ToRecall, ToTakeBackRecall,
	ToRegisterPerson,
	ToRegisterTarget, ToAdoptRules, ToAdoptFrom, ToAdoptLevel, ToAdoptDerived, ToAdoptCharts, ToAdoptChart, ToRecordComparison,
}

// ActOnSignal is the act of doing something about a signal.
func ActOnSignal(a trend.Act) access.Act {
	switch a {
	case trend.Closed, trend.Reopened:
		return ToCloseSignal
	case trend.Seen, trend.Explained, trend.Linked:
	}
	return ToHandleSignal
}

func needs(all ...access.Permission) []access.Permission { return all }

// ImportName is the name of the acts of reading files in.
const ImportName = "Import"

// writtenBy is the act by which a type of record is written; its author is asked for what that takes when it
// is taken back. What follows from other records, or is taken back by nobody, is no author's.
var writtenBy = map[record.Kind]access.Act{
	record.Seen: ToSeeEmergency,
	record.Use:  ToRecordUse, record.Step: ToRecordStep, record.Repair: ToRecordRepair,
	record.Sample: ToCollect, record.Moment: ToMark, record.Reading: ToRead, record.Check: ToCheckMeter,
	record.Attestation: ToAttest, record.Handover: ToHandOver, record.Selection: ToSelectAtRandom, record.Request: ToAsk, record.Hold: ToPlaceHold,
	record.Attachment: ToAttach, record.Signal: ToHandleSignal,
	record.Model: ToRegisterModel, record.Instrument: ToRegisterInstrument, record.Meter: ToRegisterMeter,
	record.Lot: ToRegisterLot, record.Person: ToRegisterPerson, record.Target: ToRegisterTarget,
	record.Start: ToSignStart, record.StockTake: ToTakeStock,
	record.Rules: ToAdoptRules, record.Level: ToAdoptLevel, record.Chart: ToAdoptChart, record.Comparison: ToRecordComparison,

	record.Site: {}, record.Access: {}, record.Import: {}, record.Clock: {}, record.Void: {},
	record.Verification: {}, record.Lift: {}, record.Suspect: {}, record.Erasure: {}, record.Patient: {}, record.Restore: {},
}

// may refuses an act that the actor may not do, or has not signed, and names its author. Who writes down what
// others did names each of them; everybody else acts in their own name.
func (w *Work) may(act access.Act, e *Entry) error {
	if w.dry {
		act.Signed = false
	}
	if err := w.People().Check(w.actor, act); err != nil {
		return err
	}
	if err := w.inName(&e.By); err != nil || e.Corrects == "" || act.Name == ToVoid.Name {
		return err
	}
	if _, err := w.tx.Record(e.ID); err == nil {
		return nil // sent again: nothing is replaced a second time
	}
	if e.Reason == "" {
		return invalid("a correction of %s needs a reason", e.Corrects)
	}
	old, err := w.tx.Record(e.Corrects)
	if err != nil || slices.Contains(weighed, old.Kind()) {
		return err // by whom depends on what takes its place: see Work.replaces
	}
	return w.mayReplace(e.Corrects)
}

// inName makes a name in an act that of the actor, and refuses that of somebody else.
func (w *Work) inName(code *string) error {
	switch {
	case w.actor.OnBehalf():
	case *code == "":
		*code = w.actor.Code()
	case !w.actor.Is(*code):
		return &fault.Error{
			Code:    fault.Forbidden,
			Message: fmt.Sprintf("this would be recorded in the name of %s, and %s does it", *code, w.actor.Code()),
			Hint:    "everybody acts in their own name",
		}
	}
	return nil
}

// mayReplace refuses to take a record back, or to put another in its place.
func (w *Work) mayReplace(id ledger.ID) error {
	old, err := w.tx.Record(id)
	if err != nil {
		return err
	}
	e, err := w.entered(old)
	if err != nil {
		return err
	}
	if w.dry && w.actor.MayTakeBack(e) { // nobody signs a dry run
		return nil
	}
	return w.actor.CheckTakeBack(e, w.tx.Now)
}

// entered says of a record what decides who may take it back.
func (v View) entered(old store.Kept) (e access.Entered, err error) {
	e = access.Entered{By: old.By, Act: writtenBy[old.Kind()]}
	if e.Recorded, err = firstRecorded(v, old); err != nil {
		return e, err
	}
	if v.tx.Now.Sub(e.Recorded) >= access.Slip {
		return e, nil // what came after it makes no difference
	}
	tag, err := record.ScopeOf(old.Record)
	if err == nil && tag != "" {
		e.Followed, err = v.followed(tag, old)
	}
	return e, err
}

// firstRecorded returns when the first version of a record was written: that is when the time of a slip begins.
func firstRecorded(v View, k store.Kept) (unit.Instant, error) {
	for k.Corrects != "" && k.Kind() != record.Void {
		old, err := v.tx.Record(k.Corrects)
		if err != nil {
			return 0, err
		}
		k = old
	}
	return k.Recorded, nil
}

// byRules are the types of what the rules add to an act, in its transaction and naming what it follows from. A void is
// that of a hold whose cause was taken back.
var byRules = []record.Kind{record.Verification, record.Hold, record.Lift, record.Suspect, record.Void}

// followed says whether something else of a scope was recorded after a record, but for what the rules added to
// the record itself, and a picture that is filed with it.
func (v View) followed(tag string, old store.Kept) (found bool, err error) {
	follows := map[ledger.ID]bool{old.ID: true}
	err = v.tx.EventsAfter(tag, old.Seq, func(k store.Kept) error {
		if k.Kind() == record.Attachment {
			a, err := record.Body[dossier.Attachment](k.Record)
			found = found || a.About != string(old.ID)
			return err
		}
		added := k.Recorded == old.Recorded && slices.Contains(byRules, k.Kind())
		if added && slices.ContainsFunc(k.Because, func(id ledger.ID) bool { return follows[id] }) {
			follows[k.ID] = true
		} else {
			found = true
		}
		return nil
	})
	return found, err
}

// second makes sure that the second person of an act is one who may do it, and has just shown that. Where the
// word of the actor stands for that of others, a name is enough, but for somebody at the machine who has a password.
func (w *Work) second(act access.Act, e Entry, code *string) error {
	second := e.Second.Code()
	if !w.dry {
		if err := w.People().CheckShown(w.actor, cmp.Or(second, *code)); err != nil {
			return err
		}
	}
	switch {
	case second == "" && (*code == "" || w.actor.Vouched()):
		return nil
	case second == "":
		return &fault.Error{
			Code:    fault.Unsigned,
			Message: "second person: " + *code + " has not shown who they are",
			Hint:    "let them show it with their password",
		}
	case w.actor.Is(second):
		return access.SomebodyElse()
	}
	*code = second
	if err := e.Second.Check(act, w.tx.Now); err != nil {
		return &fault.Error{Code: fault.CodeOf(err), Message: "the second person must be one who may " + act.What + whose(act), Hint: second + " may not", Cause: err}
	}
	return nil
}

// whose says whose an act is, where it takes what leads and infection prevention alone may.
func whose(act access.Act) string {
	if slices.Contains(act.Needs, access.LiftHold) {
		return ": a lead or infection prevention"
	}
	return ""
}

// writing is the act by which records of a kind are written, signed or not.
func writing(kind record.Kind) access.Act {
	act := writtenBy[kind]
	act.Signed = false
	return act
}
