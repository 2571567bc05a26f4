package desk

import (
	"maps"
	"slices"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// settleLot brings the trust in readings in line with what is on record of their lot, after something said of it anew:
// what was read with it although it must not have been used by then loses the trust, whenever that becomes known. The
// verifications that rest on such a reading are decided again. Only where two people signed does a reading regain it.
// cause is the record of the change.
func (w MeterWork) settleLot(l quality.Lot, by string, cause ledger.ID, signed bool) ([]ledger.Record, error) {
	stands, known, err := w.lot(l.Kit, l.Lot)
	if err != nil {
		return nil, err
	}
	marks, err := w.Measuring().marksOfLot(l)
	if err != nil {
		return nil, err
	}
	wanted := map[ledger.ID]usedAt{}
	if known {
		if wanted, err = w.readAgainstLot(stands); err != nil {
			return nil, err
		}
	}
	followed, touched, err := remarked(w, marks, wanted, by, cause, "the lot is seen differently now", func(m mark) bool {
		return !signed || !slices.ContainsFunc(m.body.Readings, func(id ledger.ID) bool { _, still := wanted[id]; return !still })
	})
	if err != nil {
		return nil, err
	}
	added, err := w.markLot(stands, by, cause, wanted)
	if err != nil {
		return nil, err
	}
	for id := range wanted {
		touched[id] = true
	}
	again, err := w.decideReadings(touched, by, cause)
	return append(append(followed, added...), again...), err
}

// usedAt is a reading whose lot must not have been used when it was.
type usedAt struct {
	scope string
	why   string
}

// readAgainstLot returns the readings with a lot that were made when it must not have been used.
func (w MeterWork) readAgainstLot(l quality.Lot) (map[ledger.ID]usedAt, error) {
	found := map[ledger.ID]usedAt{}
	var read []store.Kept
	if err := w.tx.Numbers().ReadOfLot(l.Kit, l.Lot, untrustedSince(l), func(k store.Kept) error {
		read = append(read, k)
		return nil
	}); err != nil {
		return nil, err
	}
	for _, k := range read {
		x, err := record.Body[reading.Reading](k.Record)
		if err != nil {
			return nil, err
		}
		s, _, err := w.sample(ledger.ID(x.Sample))
		if fault.CodeOf(err) == fault.Conflict {
			continue // the sample was voided since
		}
		if err != nil {
			return nil, err
		}
		why, err := lotFault(w.View, l, max(kitUsed(s), x.With.At))
		if err != nil {
			return nil, err
		}
		if why != "" {
			found[k.ID] = usedAt{x.Scope, why}
		}
	}
	return found, nil
}

// marksOfLot returns the standing marks that took the trust from readings because of their lot.
func (v MetersView) marksOfLot(l quality.Lot) (all []mark, err error) {
	err = v.tx.Numbers().Between(record.Suspect, "", 0, store.Forever, func(k store.Kept) error {
		return fold(k, func(x record.SuspectBody) {
			if x.Kit == l.Kit && x.Lot == l.Lot && x.Edition != "" {
				all = append(all, mark{k.ID, x})
			}
		})
	})
	return all, err
}

// markLot records that readings lost the trust because of their lot, one record for each scope and reason.
func (w MeterWork) markLot(l quality.Lot, by string, cause ledger.ID, found map[ledger.ID]usedAt) (records []ledger.Record, err error) {
	groups := map[string]*record.SuspectBody{}
	for id, u := range found {
		key := u.scope + "\n" + u.why
		if groups[key] == nil {
			groups[key] = &record.SuspectBody{Scope: u.scope, Kit: l.Kit, Lot: l.Lot, Edition: cause, At: untrustedSince(l), Reason: u.why}
		}
		groups[key].Readings = append(groups[key].Readings, id)
	}
	for _, key := range slices.Sorted(maps.Keys(groups)) {
		body := *groups[key]
		slices.Sort(body.Readings)
		r, err := w.append(Entry{
			ID: ledger.DerivedID("suspect", string(cause), key), By: by, Because: []ledger.ID{cause},
		}, record.Suspect, body.At, body)
		if err != nil {
			return nil, err
		}
		records = append(records, r.Record)
	}
	return records, nil
}

// untrustedSince is the first instant at which a lot must not be used.
func untrustedSince(l quality.Lot) unit.Instant {
	if l.Recalled.Known() {
		return min(l.Recalled, l.Expires)
	}
	return l.Expires
}
