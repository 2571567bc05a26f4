package desk

import (
	"cmp"
	"fmt"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Retire takes a scope out of the facility's hands for good from an instant on: it is scrapped, given
// away or, on loan, returned. base is the edition that whoever retires it saw.
func (w SettingUp) Retire(e Entry, tag string, base ledger.ID, at unit.Instant) (Receipt, error) {
	if err := w.may(ToRetire, &e); err != nil {
		return Receipt{}, err
	}
	return w.reviseInstrument(e, tag, base, func(i *scope.Instrument) error {
		switch {
		case e.Reason == "":
			return invalid("scope %s: say why it leaves", tag)
		case !at.Known():
			return invalid("scope %s: since when is it out of service?", tag)
		case i.Retired.Known():
			return invalid("scope %s is out of service since %s already", tag, i.Retired.In(w.Zone()))
		}
		i.Retired = at
		return nil
	})
}

// Reinstate brings a scope back that had left, from an instant on: what is not the facility's own is
// unproven again, as after its first arrival.
func (w SettingUp) Reinstate(e Entry, tag string, base ledger.ID, at unit.Instant) (Receipt, error) {
	if err := w.may(ToReinstate, &e); err != nil {
		return Receipt{}, err
	}
	return w.reviseInstrument(e, tag, base, func(i *scope.Instrument) error {
		switch {
		case e.Reason == "":
			return invalid("scope %s: say why it comes back", tag)
		case !i.Retired.Known():
			return invalid("scope %s is in service", tag)
		case at < i.Retired:
			return invalid("scope %s: it would be back before it left at %s", tag, i.Retired.In(w.Zone()))
		}
		i.InService, i.Retired = at, 0
		return nil
	})
}

// reviseInstrument changes an instrument as the edition base describes it.
func (w SettingUp) reviseInstrument(e Entry, tag string, base ledger.ID, change func(*scope.Instrument) error) (Receipt, error) {
	i, err := editionAt[scope.Instrument](w.View, record.Instrument, tag, base)
	if err == nil {
		err = change(&i)
	}
	if err != nil {
		return Receipt{}, err
	}
	return w.Edit(e, record.Instrument, tag, base, i, w.tx.Now, func(at unit.Instant) (Receipt, error) { return w.describeInstrument(e, at, i) })
}

// Recall takes a lot of a kit out of use from an instant on, although it is in date. base is the edition
// that whoever recalls it saw.
func (w SettingUp) Recall(e Entry, key string, base ledger.ID, since unit.Instant) (Receipt, error) {
	if err := w.may(ToRecall, &e); err != nil {
		return Receipt{}, err
	}
	l, err := editionAt[quality.Lot](w.View, record.Lot, key, base)
	switch {
	case err != nil:
		return Receipt{}, err
	case e.Reason == "":
		return Receipt{}, invalid("lot %s of kit %s: say why it is recalled", l.Lot, l.Kit)
	case !since.Known():
		return Receipt{}, invalid("lot %s of kit %s: since when is it recalled?", l.Lot, l.Kit)
	case l.Recalled.Known():
		return Receipt{}, invalid("lot %s of kit %s is recalled already", l.Lot, l.Kit)
	}
	l.Recalled, l.Cleared = since, ""
	return w.Edit(e, record.Lot, key, base, l, w.tx.Now, func(at unit.Instant) (Receipt, error) { return w.RegisterLot(e, at, l) })
}

// TakeBackRecall lets a lot be used again that was recalled by mistake. It takes a second person who may do so too
// and did not recall it. base is the edition that whoever takes it back saw.
func (w SettingUp) TakeBackRecall(e Entry, key string, base ledger.ID, second string) (Receipt, error) {
	if err := w.may(ToTakeBackRecall, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.second(ToTakeBackRecall, e, &second); err != nil {
		return Receipt{}, err
	}
	l, err := editionAt[quality.Lot](w.View, record.Lot, key, base)
	switch {
	case err != nil:
		return Receipt{}, err
	case e.Reason == "":
		return Receipt{}, invalid("lot %s of kit %s: say why the recall is taken back", l.Lot, l.Kit)
	case !l.Recalled.Known():
		return Receipt{}, invalid("lot %s of kit %s is not recalled", l.Lot, l.Kit)
	case second == "":
		return Receipt{}, &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("lot %s of kit %s: it takes a second person to take a recall back", l.Lot, l.Kit),
			Hint:    "name the other person with --second",
		}
	}
	if _, err := pair(w.View, e.By, second, l.Recalled, ToTakeBackRecall, ToTakeBackRecall); err != nil {
		return Receipt{}, err
	}
	if err := w.tookNoPart(key, second); err != nil {
		return Receipt{}, err
	}
	l.Recalled, l.Cleared = 0, second
	return w.Edit(e, record.Lot, key, base, l, w.tx.Now, func(at unit.Instant) (Receipt, error) { return w.append(e, record.Lot, at, l) })
}

// tookNoPart refuses as a second person whoever recalled the lot, or changed it since.
func (w SettingUp) tookNoPart(key, second string) error {
	all, err := w.Records().Editions(record.Lot, key)
	if err != nil {
		return err
	}
	for _, x := range slices.Backward(all) {
		l, err := BodyOf[quality.Lot](x)
		if err != nil || !x.Gone && !l.Recalled.Known() {
			return err
		}
		if access.Key(x.By) == access.Key(second) {
			return invalid("%s recalled lot %s of kit %s: the second person must be one who took no part in it", x.By, l.Lot, l.Kit)
		}
	}
	return nil
}

// editionAt returns what one edition of a thing says.
func editionAt[T any](v View, typ record.Kind, key string, id ledger.ID) (T, error) {
	var none T
	all, err := v.Records().Editions(typ, key)
	if err != nil {
		return none, err
	}
	if len(all) == 0 {
		return none, notFound("see what is registered", "%s %q is not registered", thing(typ), key)
	}
	i := slices.IndexFunc(all, func(e Edition) bool { return e.ID == string(id) })
	if i < 0 {
		return none, invalid("record %s is no edition of %s %q: open the page anew", id, thing(typ), key)
	}
	return BodyOf[T](all[i])
}

// Models returns the latest edition of every model, in the order of their names.
func (v RegistryView) Models() ([]scope.Model, error) {
	all, err := v.tx.Entities(record.Model)
	if err != nil {
		return nil, err
	}
	latest := map[string]scope.Model{}
	for _, kept := range all {
		if kept.Replaced.Known() {
			continue
		}
		m, err := record.Body[scope.Model](kept.Record)
		if err != nil {
			return nil, err
		}
		latest[m.Name] = m
	}
	return sortedByKey(latest), nil
}

// ModelWarnings lists what a person should look at before a model is used, by the rules in force; it
// works for a model that is not registered yet.
func (v RegistryView) ModelWarnings(m scope.Model) ([]string, error) {
	g, err := v.Day().guideOf(m)
	if fault.CodeOf(err) == fault.NotFound { // no rule set yet, so nothing is known of flushes
		return m.Warnings(nil), nil
	}
	return g.Warnings, err
}

// ModelGuide returns how the points of a model are sampled, with the warnings about it.
func (v RegistryView) ModelGuide(name string) (Guide, scope.Model, error) {
	m, ok, err := edition[scope.Model](v.View, record.Model, name, v.Now(), store.Forever)
	if err == nil && !ok {
		err = notFound("see the models", "model %q is not registered", name)
	}
	if err != nil {
		return Guide{}, m, err
	}
	g, err := v.Day().guideOf(m)
	return g, m, err
}

// AdoptFrom adopts a rule set that was made from the edition base. An edition has a name of its own,
// since decisions name it.
func (w SettingUp) AdoptFrom(e Entry, base ledger.ID, a Adoption) (Receipt, policy.RuleSet, error) {
	if err := w.may(ToAdoptFrom, &e); err != nil {
		return Receipt{}, policy.RuleSet{}, err
	}
	rules, err := policy.Parse(a.Name, a.Text)
	if err != nil {
		return Receipt{}, rules, refuse(err)
	}
	if e.Reason == "" {
		return Receipt{}, rules, invalid("say why the rule set is adopted")
	}
	editions, err := w.Registry().RulesEditions()
	if err != nil {
		return Receipt{}, rules, err
	}
	for _, x := range editions {
		if x.Name == rules.Name && x.Label == rules.Edition && x.Text != string(a.Text) && x.ID != string(e.ID) {
			return Receipt{}, rules, &fault.Error{
				Code:    fault.Conflict,
				Message: fmt.Sprintf("%s was adopted before with other rules", rules.Cite()),
				Hint:    "decisions name the edition: give this one another",
			}
		}
	}
	body, err := mayBeRules(w, e, rules, a)
	if err != nil {
		return Receipt{}, rules, err
	}
	r, err := w.Edit(e, record.Rules, "rules", base, body, w.tx.Now, func(at unit.Instant) (Receipt, error) {
		a.At = at
		r, _, err := w.AdoptRules(e, a)
		return r, err
	})
	return r, rules, err
}

// Part is one part of the set-up, in the order in which they build on each other.
type Part string

// The parts.
const (
	RulesPart    Part = "rules"
	ModelsPart   Part = "models"
	ProtocolPart Part = "protocol"
	FleetPart    Part = "fleet"
	PeoplePart   Part = "people"
	MetersPart   Part = "meters"
	KitsPart     Part = "kits"
	LevelsPart   Part = "levels"
)

// Parts lists every part.
var Parts = []Part{RulesPart, ModelsPart, ProtocolPart, FleetPart, PeoplePart, MetersPart, KitsPart, LevelsPart}

// PartState is how far a part of the set-up is.
type PartState struct {
	Part Part `json:"part"`
	// Has says what there is.
	Has string `json:"has"`
	// Missing is what a first test cannot be taken without, Look what should be looked at.
	Missing []string `json:"missing,omitempty"`
	Look    []string `json:"look,omitempty"`
}

// SetUp says of every part of the set-up what there is and what is missing before a first test of
// samples can be taken, read and judged at an instant.
func (v RegistryView) SetUp(now unit.Instant) ([]PartState, error) {
	s := setUp{v: v.View, now: now}
	var all []PartState
	for _, p := range Parts {
		standing, err := s.part(p)
		if err != nil {
			return nil, err
		}
		standing.Part = p
		all = append(all, standing)
	}
	return all, nil
}

// setUp gathers what the later parts need of the earlier ones.
type setUp struct {
	v     View
	now   unit.Instant
	rules *policy.RuleSet
	// models are those that are registered, used those of the scopes in service.
	models  []scope.Model
	used    []scope.Model
	systems []string
	kits    []string
}

func (s *setUp) part(p Part) (PartState, error) {
	switch p {
	case RulesPart:
		return s.ruleSet()
	case ModelsPart:
		return s.modelList()
	case ProtocolPart:
		return s.protocols()
	case FleetPart:
		return s.fleet()
	case PeoplePart:
		return s.people()
	case MetersPart:
		return s.meters()
	case KitsPart:
		return s.lots()
	case LevelsPart:
		return s.levels()
	}
	return PartState{}, nil
}

func (s *setUp) ruleSet() (PartState, error) {
	rules, err := s.v.Registry().Rules(s.now, store.Forever)
	if fault.CodeOf(err) == fault.NotFound {
		return PartState{Has: "none adopted", Missing: []string{"Adopt a rule set."}}, nil
	}
	if err != nil {
		return PartState{}, err
	}
	s.rules = &rules
	x := PartState{Has: rules.Cite()}
	if n := len(rules.Unverified()); n > 0 {
		x.Look = []string{fmt.Sprintf("%d of its rules are not verified by anybody of the facility.", n)}
	}
	return x, nil
}

func (s *setUp) modelList() (x PartState, err error) {
	if s.models, err = s.v.Registry().Models(); err != nil {
		return x, err
	}
	x.Has = counted(len(s.models), "model", "models")
	if len(s.models) == 0 {
		x.Missing = []string{"Register the models of your scopes."}
	}
	return x, nil
}

func (s *setUp) protocols() (x PartState, err error) {
	if s.rules == nil {
		return PartState{Has: "none", Missing: []string{"The rule set holds the protocols: adopt one."}}, nil
	}
	x.Has = "every kind of sampling point has one"
	for _, m := range s.models {
		warnings, err := s.v.Registry().ModelWarnings(m)
		if err != nil {
			return x, err
		}
		for _, w := range warnings {
			x.Look = append(x.Look, fmt.Sprintf("%s: %s.", m.Name, w))
		}
	}
	return x, nil
}

func (s *setUp) fleet() (x PartState, err error) {
	all, err := s.v.Registry().Instruments()
	if err != nil {
		return x, err
	}
	n := 0
	for _, i := range all {
		if i.InService > s.now || i.Retired.Known() && i.Retired <= s.now {
			continue
		}
		n++
		j := slices.IndexFunc(s.models, func(m scope.Model) bool { return m.Name == i.Model })
		if j >= 0 && !slices.ContainsFunc(s.used, func(m scope.Model) bool { return m.Name == i.Model }) {
			s.used = append(s.used, s.models[j])
		}
	}
	x.Has = counted(n, "scope", "scopes") + " in service"
	if n == 0 {
		x.Missing = []string{"Register at least one scope."}
	}
	return x, nil
}

func (s *setUp) people() (x PartState, err error) {
	all, err := s.v.tx.Access().Accounts()
	if err != nil {
		return x, err
	}
	open, record, decide := 0, 0, 0
	for _, a := range all {
		if a.Disabled.Known() {
			continue
		}
		open++
		if access.Allows(a.Roles, access.RecordStep) {
			record++
		}
		if access.Allows(a.Roles, access.LiftHold) {
			decide++
		}
	}
	x.Has = fmt.Sprintf("%s, %d who may sample", counted(open, "account", "accounts"), record)
	if record == 0 {
		x.Missing = append(x.Missing, "Nobody has an account who may sample: make one.")
	}
	if decide < 2 {
		x.Look = append(x.Look, "Fewer than two people may lift a hold; some kinds of hold take two.")
	}
	return x, nil
}

func (s *setUp) meters() (x PartState, err error) {
	meters, err := s.v.Measuring().Meters()
	if err != nil {
		return x, err
	}
	targets, err := s.v.Measuring().Targets()
	if err != nil {
		return x, err
	}
	n, checked := 0, 0
	for _, m := range meters {
		if m.Retired.Known() && m.Retired <= s.now {
			continue
		}
		n++
		if !slices.Contains(s.systems, m.System) {
			s.systems = append(s.systems, m.System)
		}
		if s.rules == nil {
			continue
		}
		state, err := s.v.Measuring().MeterState(m.Code, s.now)
		if err != nil {
			return x, err
		}
		if state.Condition == quality.Checked {
			checked++
		}
	}
	x.Has = fmt.Sprintf("%s in service, %d checked", counted(n, "meter", "meters"), checked)
	if n == 0 {
		x.Missing = append(x.Missing, "Register a meter.")
	}
	for _, system := range s.systems {
		if !slices.ContainsFunc(targets, func(t quality.Target) bool { return t.System == system }) {
			x.Missing = append(x.Missing, fmt.Sprintf("Meter system %s has no target of a control, so no check of it can be judged.", system))
		}
	}
	if n > 0 && checked == 0 {
		x.Missing = append(x.Missing, "No meter holds a good check: check one.")
	}
	return x, nil
}

func (s *setUp) lots() (x PartState, err error) {
	all, err := s.v.Day().Lots()
	if err != nil {
		return x, err
	}
	n := 0
	for _, l := range all {
		if l.Fault(s.now) != "" {
			continue
		}
		n++
		if !slices.Contains(s.kits, l.Kit) {
			s.kits = append(s.kits, l.Kit)
		}
	}
	x.Has = fmt.Sprintf("%s in date, of %s", counted(n, "lot", "lots"), counted(len(s.kits), "kit", "kits"))
	if n == 0 {
		x.Missing = []string{"Register a lot of a kit that is in date."}
	}
	return x, nil
}

// levels looks for a routine point of the fleet that no level of any system and kit at hand judges.
func (s *setUp) levels() (x PartState, err error) {
	all, err := s.v.Registry().Levels()
	if err != nil {
		return x, err
	}
	x.Has = counted(len(all), "level", "levels") + " adopted"
	type where struct {
		kind  scope.Kind
		point scope.PointKind
	}
	var open []where
	for _, m := range s.used {
		for _, p := range m.Routine() {
			if s.judged(all, m.Kind, p) || slices.Contains(open, where{m.Kind, p}) {
				continue
			}
			open = append(open, where{m.Kind, p})
		}
	}
	slices.SortStableFunc(open, func(a, b where) int { return cmp.Compare(a.kind, b.kind) })
	for _, o := range open {
		x.Missing = append(
			x.Missing,
			fmt.Sprintf("No level judges the %s of a %s with a meter system and kit at hand.", text.Spaced(o.point), text.Spaced(o.kind)),
		)
	}
	if len(all) == 0 && len(open) == 0 {
		x.Missing = []string{"Adopt levels once scopes, meters and kits are registered."}
	}
	return x, nil
}

func (s *setUp) judged(all []reading.Level, kind scope.Kind, point scope.PointKind) bool {
	for _, system := range s.systems {
		for _, kit := range s.kits {
			if _, ok := reading.Find(all, reading.ATP, reading.Circumstances{System: system, Kit: kit, Point: point, Kind: kind, At: s.now}); ok {
				return true
			}
		}
	}
	return false
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
