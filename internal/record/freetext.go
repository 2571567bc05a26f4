package record

import (
	"rinsate/internal/base/ledger"
)

// WithFreeTexts returns a record with what change gives in the place of each of its free texts; field is as
// in FreeText. A text that is empty is none.
func WithFreeTexts(r ledger.Record, change func(field, text string) string) (ledger.Record, error) {
	if r.Reason != "" {
		r.Reason = change("reason", r.Reason)
	}
	d, ok := byKind[KindOf(r)]
	if !ok || !d.free.in(r.Body) {
		return r, nil // of an unknown kind Place says that it is
	}
	body, err := ledger.Rewrite(r.Body, func(way, text string) string {
		if text == "" || !d.free.names[unnumbered(way)] {
			return text
		}
		return change("body."+way, text)
	})
	if err != nil {
		return r, err
	}
	r.Body = body
	return r, nil
}

// FreeTexts returns the free texts of a record by their fields.
func FreeTexts(r ledger.Record) (map[string]string, error) {
	texts := map[string]string{}
	_, err := WithFreeTexts(r, func(field, text string) string {
		texts[field] = text
		return text
	})
	return texts, err
}
