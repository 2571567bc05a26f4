package desk

import (
	"bytes"
	"encoding/json"
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Edition is one state of something that is registered or adopted: a model, a scope, a lot, a meter, a
// target, a rule set.
type Edition struct {
	Line
	// Number counts the editions of the thing from 1, in the order in which they were written.
	Number int `json:"number"`
	// Gone says that it was taken back.
	Gone bool `json:"gone,omitempty"`
}

// Editions returns every edition of one thing, the first one first; none when there is no such thing.
func (v RecordsView) Editions(typ record.Kind, key string) ([]Edition, error) {
	var all []Edition
	err := v.tx.Editions(typ, key, func(k store.Kept) error {
		all = append(all, Edition{Line: line(k), Number: len(all) + 1, Gone: k.Replaced.Known()})
		return nil
	})
	return all, err
}

// Latest returns the last edition that stands, ok = false when there is none.
func Latest(all []Edition) (last Edition, ok bool) {
	for _, e := range all {
		if !e.Gone {
			last, ok = e, true
		}
	}
	return last, ok
}

// BodyOf reads what an edition says.
func BodyOf[T any](e Edition) (T, error) {
	var body T
	if err := json.Unmarshal(e.Body, &body); err != nil {
		return body, fmt.Errorf("edition %d (%s): %w", e.Number, e.Type, err)
	}
	return body, nil
}

// ChangedError says that something was changed by somebody else after the edition that a change was
// made from.
type ChangedError struct {
	// From is the edition that the change was made from, Now the one that stands.
	From, Now Edition
	// Meanwhile are the editions after From.
	Meanwhile []Edition
}

// Error names who changed it.
func (e *ChangedError) Error() string {
	return fmt.Sprintf("it was changed meanwhile by %s", e.Now.By)
}

// Edit writes a new edition of one thing, which was made from the edition base, empty for something
// new: nothing that somebody else wrote meanwhile is replaced unseen. body is what the edition will say
// and save writes it, in force from at. What is there already, and a change of nothing, is refused; an
// edition that stands after base is told in a *ChangedError. The same entry sent twice is stored once.
func (w SettingUp) Edit(
	e Entry,
	typ record.Kind,
	key string,
	base ledger.ID,
	body any,
	at unit.Instant,
	save func(at unit.Instant) (Receipt, error),
) (Receipt, error) {
	if e.ID != "" {
		kept, err := w.tx.Record(e.ID)
		if err == nil {
			return save(kept.At)
		}
		if fault.CodeOf(err) != fault.NotFound {
			return Receipt{}, err
		}
	}
	all, err := w.Records().Editions(typ, key)
	if err != nil {
		return Receipt{}, err
	}
	now, there := Latest(all)
	switch {
	case base == "" && there:
		return Receipt{}, &fault.Error{
			Code:    fault.Conflict,
			Message: fmt.Sprintf("%s %q is registered already", thing(typ), key),
			Hint:    "open its page to change it, or choose another name",
		}
	case base != "" && !there:
		return Receipt{}, notFound("register it anew", "%s %q does not stand any more", thing(typ), key)
	case there && now.ID != string(base):
		return Receipt{}, changed(all, now, base)
	}
	if there {
		text, err := json.Marshal(body)
		if err != nil {
			return Receipt{}, err
		}
		if same, err := equalJSON(text, now.Body); err != nil || same {
			if err == nil {
				err = invalid("nothing is changed")
			}
			return Receipt{}, err
		}
	}
	return save(at)
}

// thing is what people call a type of record.
func thing(typ record.Kind) string {
	if typ == record.Instrument {
		return "scope"
	}
	return string(typ)
}

func changed(all []Edition, now Edition, base ledger.ID) error {
	e := &ChangedError{Now: now}
	for _, x := range all {
		switch {
		case x.ID == string(base):
			e.From = x
		case e.From.ID != "" && !x.Gone:
			e.Meanwhile = append(e.Meanwhile, x)
		}
	}
	if e.From.ID == "" {
		return invalid("record %s is no edition of this: open the page anew", base)
	}
	return &fault.Error{Code: fault.Conflict, Message: e.Error(), Hint: "look at what was changed, then send the form again", Cause: e}
}

// equalJSON says whether two texts are the same JSON but for spaces, the order of members and who else signed it.
func equalJSON(a, b []byte) (bool, error) {
	var texts [2][]byte
	for i, text := range [][]byte{a, b} {
		var v any
		d := json.NewDecoder(bytes.NewReader(text))
		d.UseNumber()
		err := d.Decode(&v)
		if err == nil {
			texts[i], err = json.Marshal(withoutSecond(v)) // members in the order of their names
		}
		if err != nil {
			return false, err
		}
	}
	return bytes.Equal(texts[0], texts[1]), nil
}
