package desk

import (
	"bytes"
	"encoding/json"
	"fmt"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Rules returns the rule set in force at an instant as known then: an edition is in force from when it was signed, at
// the earliest, however long ago it says that it holds. Before the first one was signed the first one is returned, so that older records can
// be judged at all. Each verification was decided by the edition that was in force at its last cleaning; of a cycle that is
// under way when an edition comes the release check asks what rulesFor says.
func (v RegistryView) Rules(at, known unit.Instant) (policy.RuleSet, error) {
	kept, err := v.rulesRecord(at, known)
	if err != nil {
		return policy.RuleSet{}, err
	}
	p, err := v.parsed(kept)
	return p.rules, err
}

// parsed reads the rule set of a record.
func (v RegistryView) parsed(kept store.Kept) (parsedRules, error) {
	v.desk.mu.Lock()
	defer v.desk.mu.Unlock()
	// An id alone does not tell a rule set from another: the record may have been taken back since.
	if known, ok := v.desk.rules[kept.ID]; ok && bytes.Equal(known.body, kept.Body) {
		return known, nil
	}
	text, err := record.Body[record.RulesBody](kept.Record)
	if err != nil {
		return parsedRules{}, err
	}
	rules, err := text.Rules()
	if err != nil {
		return parsedRules{}, fmt.Errorf("rule set of record %d: %w", kept.Seq, err)
	}
	p := parsedRules{kept.Body, rules, text.Slip}
	v.desk.rules[kept.ID] = p
	return p, nil
}

// RuleText returns the rule set in force at an instant word for word.
func (v RegistryView) RuleText(at unit.Instant) (record.RulesBody, error) {
	kept, err := v.rulesRecord(at, store.Forever)
	if err != nil {
		return record.RulesBody{}, err
	}
	return record.Body[record.RulesBody](kept.Record)
}

func (v RegistryView) rulesRecord(at, known unit.Instant) (store.Kept, error) {
	kept, ok, err := inForce(v.View, record.Rules, "rules", at, known)
	if err == nil && !ok { // as known before the first one
		kept, ok, err = inForce(v.View, record.Rules, "rules", 0, store.Forever)
	}
	if err == nil && !ok {
		err = notFound("adopt one with: rinsate rules adopt", "the facility has not adopted a rule set")
	}
	return kept, err
}

// Levels returns every level that was adopted and not voided, with since when each of them judges.
func (v RegistryView) Levels() ([]reading.Level, error) {
	c, err := v.decodedLevels()
	return c.levels, err
}

// LevelsEver returns the levels with those that were taken back, which were in force until then.
func (v RegistryView) LevelsEver() ([]reading.Level, error) {
	c, err := v.decodedLevels()
	all := make([]reading.Level, len(c.editions))
	for i, e := range c.editions {
		all[i] = e.Level
	}
	return all, err
}

// decodedLevels reads the records of levels once, until there are others.
func (v RegistryView) decodedLevels() (decodedLevels, error) {
	all, err := v.tx.Entities(record.Level)
	if err != nil || len(all) == 0 {
		return decodedLevels{}, err
	}
	clock, err := clockNotes(v.View, store.Forever)
	if err != nil {
		return decodedLevels{}, err
	}
	v.desk.mu.Lock()
	defer v.desk.mu.Unlock()
	if c := v.desk.levels; c.first == &all[0] && c.count == len(all) && c.notes == len(clock.Notes) {
		return c, nil
	}
	c := decodedLevels{first: &all[0], count: len(all), notes: len(clock.Notes)}
	for _, kept := range all {
		e, _, err := levelEdition(clock, kept)
		if err != nil {
			return c, err
		}
		c.editions = append(c.editions, e)
		if !e.Replaced.Known() {
			c.levels = append(c.levels, e.Level)
		}
	}
	v.desk.levels = c
	return c, nil
}

// LevelsFor returns the level that readings of a series of one kind of scope are judged by at an
// instant; none when there is none.
func (v RegistryView) LevelsFor(key trend.Key, kind scope.Kind, at unit.Instant) ([]reading.Level, error) {
	all, err := v.Levels()
	if err != nil {
		return nil, err
	}
	l, ok := reading.Find(all, reading.ATP, reading.Circumstances{System: key.System, Kit: key.Kit, Point: key.Point, Kind: kind, At: at})
	if !ok {
		return nil, nil
	}
	return []reading.Level{l}, nil
}

// Instruments returns the latest edition of every instrument, in the order of their tags.
func (v RegistryView) Instruments() ([]scope.Instrument, error) {
	all, err := v.tx.Entities(record.Instrument)
	if err != nil {
		return nil, err
	}
	latest := map[string]scope.Instrument{}
	for _, kept := range all {
		if kept.Replaced.Known() {
			continue
		}
		i, err := record.Body[scope.Instrument](kept.Record)
		if err != nil {
			return nil, err
		}
		latest[i.Tag] = i
	}
	return sortedByKey(latest), nil
}

// levelEdition reads a level with since when it judges, and the grounds on which it was adopted.
func levelEdition(clock reprocessing.Clock, k store.Kept) (e LevelEdition, grounds json.RawMessage, err error) {
	l, err := record.Body[record.LevelBody](k.Record)
	if err != nil {
		return e, nil, err
	}
	e = LevelEdition{Level: l.Level, Record: k.ID, Recorded: k.Recorded, Replaced: k.Replaced, Derived: len(l.Derivation) > 0}
	e.From, e.Until = actsFrom(clock, k.Seq, l.Adopted, k.Recorded), k.Replaced
	return e, l.Derivation, nil
}
