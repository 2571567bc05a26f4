package desk

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Erase erases a free text of a record for good, and the same text wherever it stands in records that name
// that one or are named by it, such as its correction or the verification that repeats it. Only whoever leads may;
// what the text was cannot be found out any more, that there was one can. field is as record.FreeText has
// it, without "body." where that is clear, and may be empty when the record has one text.
func (w *Work) Erase(e Entry, id ledger.ID, field string, why record.ErasureReason) (Receipt, error) {
	if err := w.may(ToErase, &e); err != nil {
		return Receipt{}, err
	}
	if !why.Known() {
		return Receipt{}, invalid("the reason %q is none; choose one of: %s", why, reasonWords())
	}
	if r, ok, err := again(w, e.ID, record.Erasure, func(x record.ErasureBody) bool {
		return x.Why == why && len(x.Texts) > 0 && x.Texts[0].Record == id &&
			(field == "" || strings.TrimPrefix(x.Texts[0].Field, "body.") == strings.TrimPrefix(field, "body."))
	}); ok || err != nil {
		return r, err
	}
	kept, err := w.tx.Record(id)
	if err != nil {
		return Receipt{}, err
	}
	texts, err := store.FreeTexts(w.tx, kept.Record)
	if err != nil {
		return Receipt{}, err
	}
	field, err = chosen(id, field, texts)
	if err != nil {
		return Receipt{}, err
	}
	body := record.ErasureBody{Why: why}
	if body.Scope, err = record.ScopeOf(kept.Record); err != nil {
		return Receipt{}, err
	}
	if body.Texts, err = copies(w, kept, field, texts[field]); err != nil {
		return Receipt{}, err
	}
	return w.append(e, record.Erasure, w.tx.Now, body)
}

// chosen returns the field that somebody named among those that a record has.
func chosen(id ledger.ID, field string, texts map[string]string) (string, error) {
	fields := slices.Sorted(maps.Keys(texts))
	switch {
	case len(fields) == 0:
		return "", notFound("texts that an older edition wrote into the ledger itself cannot be erased", "record %s has no text that could be erased", id)
	case field == "" && len(fields) == 1:
		return fields[0], nil
	case field == "":
		return "", &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("record %s has %d texts: %s", id, len(fields), strings.Join(fields, ", ")),
			Hint:    "name one with --field",
		}
	}
	for _, name := range []string{field, "body." + field} {
		if _, ok := texts[name]; ok {
			return name, nil
		}
	}
	return "", notFound("name one of: "+strings.Join(fields, ", "), "record %s has no text %q that could be erased", id, field)
}

// copies returns a text and the same text in the records around: in those that name its record or are named
// by it, and so on from there as long as the text is found. The one that was asked for comes first.
func copies(w *Work, of store.Kept, field, text string) ([]record.FreeText, error) {
	all := []record.FreeText{{Record: of.ID, Field: field}}
	seen := map[ledger.ID]bool{}
	for next := []store.Kept{of}; len(next) > 0 && len(seen) < longestChain; next = next[1:] {
		k := next[0]
		if seen[k.ID] {
			continue
		}
		seen[k.ID] = true
		found := k.ID == of.ID
		texts, err := store.FreeTexts(w.tx, k.Record)
		if err != nil {
			return nil, err
		}
		for _, name := range slices.Sorted(maps.Keys(texts)) {
			if texts[name] != text {
				continue
			}
			found = true
			if t := (record.FreeText{Record: k.ID, Field: name}); t != all[0] {
				all = append(all, t)
			}
		}
		if !found {
			continue
		}
		around, err := beside(w, k)
		if err != nil {
			return nil, err
		}
		next = append(next, around...)
	}
	return all, nil
}

// beside returns the records that name a record and those that it names.
func beside(w *Work, k store.Kept) (all []store.Kept, err error) {
	ids := append([]ledger.ID{k.Corrects}, k.Because...)
	relations, err := record.Relations(k.Record)
	if err != nil {
		return nil, err
	}
	for _, r := range relations {
		ids = append(ids, r.ID)
	}
	replaced, _, err := record.Replaces(k.Record)
	if err != nil {
		return nil, err
	}
	for _, id := range append(ids, replaced) {
		if id == "" {
			continue
		}
		named, err := w.tx.Record(id)
		if fault.CodeOf(err) == fault.NotFound {
			continue
		}
		if err != nil {
			return nil, err
		}
		all = append(all, named)
	}
	err = w.Records().referring(string(k.ID), longestChain, func(x store.Kept) (bool, error) {
		all = append(all, x)
		return true, nil
	})
	return all, err
}

// reasonWords lists the reasons for erasing, each with what it means.
func reasonWords() string {
	list := make([]string, len(record.ErasureReasons))
	for i, r := range record.ErasureReasons {
		list[i] = fmt.Sprintf("%s (%s)", r, r.Words())
	}
	return strings.Join(list, ", ")
}
