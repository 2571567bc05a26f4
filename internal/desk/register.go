package desk

import (
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/takeback"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// RegisterModel records a model, or a new edition of it, in force from at. The warnings about its
// geometry and its channels are returned; they do not keep it from being recorded.
func (w SettingUp) RegisterModel(e Entry, at unit.Instant, m scope.Model) (Receipt, []string, error) {
	if err := w.may(ToRegisterModel, &e); err != nil {
		return Receipt{}, nil, err
	}
	if err := m.Check(); err != nil {
		return Receipt{}, nil, refuse(err)
	}
	var flush map[scope.PointKind]unit.Millilitres
	if rules, err := w.Registry().Rules(at, store.Forever); err == nil {
		flush = sampling.Flushes(rules.Sample.ProtocolsFor(m.Name))
	}
	if err := byTwoOf(w.Work).mayBeModel(e, &m); err != nil {
		return Receipt{}, m.Warnings(flush), err
	}
	r, err := w.append(e, record.Model, at, m)
	return r, m.Warnings(flush), err
}

// RegisterInstrument records an instrument of a registered model, or a new edition of its entry.
func (w SettingUp) RegisterInstrument(e Entry, at unit.Instant, i scope.Instrument) (Receipt, error) {
	if err := w.may(ToRegisterInstrument, &e); err != nil {
		return Receipt{}, err
	}
	if old, ok, err := standing[scope.Instrument](w.View, record.Instrument, i.Tag); err != nil {
		return Receipt{}, err
	} else if ok && i.TakesBack(old) && !w.sentBefore(e) {
		return Receipt{}, &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("scope %s is out of service since %s", i.Tag, old.Retired.In(w.Zone())),
			Hint:    "bring it back on its page in the set-up, with the reason",
		}
	}
	if err := i.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if err := byTwoOf(w.Work).mayBeInstrument(e, &i); err != nil {
		return Receipt{}, err
	}
	return w.describeInstrument(e, at, i)
}

// describeInstrument records an edition of a scope, whatever it takes back.
func (w SettingUp) describeInstrument(e Entry, at unit.Instant, i scope.Instrument) (Receipt, error) {
	if err := i.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	if _, ok, err := w.tx.Entity(record.Model, i.Model, store.Forever, store.Forever); err != nil {
		return Receipt{}, err
	} else if !ok {
		return Receipt{}, notFound("import the models before the fleet", "instrument %s: model %q is not registered", i.Tag, i.Model)
	}
	if !w.sentBefore(e) {
		if err := unshared(w.View, i); err != nil {
			return Receipt{}, err
		}
	}
	return w.append(e, record.Instrument, at, i)
}

// RegisterMeter records a meter.
func (w SettingUp) RegisterMeter(e Entry, at unit.Instant, m quality.Meter) (Receipt, error) {
	if err := w.may(ToRegisterMeter, &e); err != nil {
		return Receipt{}, err
	}
	if err := m.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	old, ok, err := standing[quality.Meter](w.View, record.Meter, m.Code)
	if err != nil {
		return Receipt{}, err
	}
	if ok && takeback.OfMeter(old, m).Adverse() && !w.sentBefore(e) {
		return Receipt{}, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("meter %s is out of service since %s", m.Code, old.Retired.In(w.Zone())),
			Hint: "void the record by which it left; it needs " + takeback.Needs,
		}
	}
	was, known, err := before[quality.Meter](w.View, record.Meter, m.Code)
	if err != nil {
		return Receipt{}, err
	}
	var alone *fault.Error
	if known && was.System != m.System && !w.sentBefore(e) {
		alone = lessThanBefore(ToRegisterMeter, "meter "+m.Code,
			[]string{fmt.Sprintf("it is of the system %s instead of %s, whose levels judge its readings then", m.System, was.System)})
	}
	if err := byTwoOf(w.Work).agreed(ToRegisterMeter, e, &m.Second, alone); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Meter, at, m)
}

// RegisterLot records a lot of a kit; recording it again with Recalled recalls it. A recall on record is taken back
// by TakeBackRecall alone.
func (w SettingUp) RegisterLot(e Entry, at unit.Instant, l quality.Lot) (Receipt, error) {
	if err := w.may(ToRegisterLot, &e); err != nil {
		return Receipt{}, err
	}
	if err := l.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	old, ok, err := standing[quality.Lot](w.View, record.Lot, l.Key())
	if err == nil && !ok && !w.sentBefore(e) {
		err = spelledAsBefore(w.View, l)
	}
	if err != nil {
		return Receipt{}, err
	}
	if l.TakesBack(old) && !w.sentBefore(e) {
		return Receipt{}, &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("lot %s of kit %s is recalled since %s", l.Lot, l.Kit, old.Recalled.In(w.Zone())),
			Hint:    "two people take a recall back, on the page of the lot or with: rinsate unrecall",
		}
	}
	if old.Expires.Known() && l.Expires > old.Expires && !w.sentBefore(e) {
		message := "lot %s of kit %s expired at %s: a later date does not make it good"
		if old.Expires > w.tx.Now {
			message = "lot %s of kit %s expires at %s by what is on record: of two dates the earlier one counts"
		}
		return Receipt{}, &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf(message, l.Lot, l.Kit, old.Expires.In(w.Zone())),
			Hint:    "use another lot; if the date was mistyped, two people void the record of it, then register the lot with the right one",
		}
	}
	if l.Cleared != "" && l.Cleared != old.Cleared {
		return Receipt{}, invalid("lot %s of kit %s: only who takes a recall back names a second person", l.Lot, l.Kit)
	}
	r, err := w.append(e, record.Lot, at, l)
	if err != nil || !r.Fresh {
		return r, err
	}
	r.Followed, err = w.AtMeters().settleLot(l, r.Record.By, r.Record.ID, false)
	return r, err
}

// spelledAsBefore refuses a lot that is registered in another spelling: a recall of the one would not reach what was sampled
// with the other.
func spelledAsBefore(v View, l quality.Lot) error {
	lots, err := v.Day().Lots()
	for _, old := range lots {
		if old.Same(l) {
			return &fault.Error{
				Code:    fault.Invalid,
				Message: fmt.Sprintf("lot %s of kit %s is registered as lot %s of kit %s", l.Lot, l.Kit, old.Lot, old.Kit),
				Hint:    "write it as it is registered",
			}
		}
	}
	return err
}

// RegisterPerson records the code of a person.
func (w SettingUp) RegisterPerson(e Entry, at unit.Instant, p record.PersonBody) (Receipt, error) {
	if err := w.may(ToRegisterPerson, &e); err != nil {
		return Receipt{}, err
	}
	if p.Code == "" {
		return Receipt{}, invalid("a person needs a code")
	}
	held, err := w.People().Signer(p.Code, reprocessing.Clock{})
	if err != nil {
		return Receipt{}, err
	}
	second := ""
	if err := w.second(ToRegisterPerson, e, &second); err != nil {
		return Receipt{}, err
	}
	if err := w.People().MayGrant(p.Code, e.By, second, held.Roles(), access.RolesOf(p.Role)); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Person, at, p)
}

// AdoptRules records a rule set as the facility's policy, which acts from its signature; none is adopted ahead, since what
// begins later says so in the text. Earlier decisions keep the edition that made them. One that asks for less than an edition
// in force takes a second person, and serves only what begins after it.
func (w SettingUp) AdoptRules(e Entry, a Adoption) (Receipt, policy.RuleSet, error) {
	if err := w.may(ToAdoptRules, &e); err != nil {
		return Receipt{}, policy.RuleSet{}, err
	}
	rules, err := policy.Parse(a.Name, a.Text)
	if err != nil {
		return Receipt{}, rules, refuse(err)
	}
	if e.By == "" {
		return Receipt{}, rules, invalid("rule set %s: who adopts it?", rules.Cite())
	}
	if a.At > w.tx.Now {
		return Receipt{}, rules, &fault.Error{
			Code: fault.Invalid, Message: fmt.Sprintf("rule set %s: %s lies ahead, and an edition acts from when it is signed", rules.Cite(), a.At.In(w.Zone())),
			Hint: "adopt it without that day, or on it; a requirement that begins later says so in the text, with starts: and the day, such as starts: 2026-12-01",
		}
	}
	body, err := mayBeRules(w, e, rules, a)
	if err != nil {
		return Receipt{}, rules, err
	}
	r, err := w.append(e, record.Rules, a.At, body)
	return r, rules, err
}

// AdoptLevel records a level; it judges readings from its Adopted instant on, and none that was read before now. One far
// over what is published takes a second person.
func (w SettingUp) AdoptLevel(e Entry, l reading.Level) (Receipt, error) {
	if err := w.may(ToAdoptLevel, &e); err != nil {
		return Receipt{}, err
	}
	if err := mayBeLevel(w.Work, ToAdoptLevel, e, &l); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Level, min(l.Adopted, w.tx.Now), l)
}
