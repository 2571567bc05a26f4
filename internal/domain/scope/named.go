package scope

import (
	"strings"

	"rinsate/internal/base/unit"
)

// Left says whether an instrument has left for good at an instant.
func (i Instrument) Left(at unit.Instant) bool { return i.Retired.Known() && i.Retired <= at }

// named says whether a text is the tag or the serial number of an instrument, in whatever case.
func (i Instrument) named(text string) bool {
	return strings.EqualFold(i.Tag, text) || i.Serial != "" && strings.EqualFold(strings.TrimSpace(i.Serial), text)
}

// labelled says whether a text is the barcode of an instrument, in which case counts.
func (i Instrument) labelled(text string) bool {
	return i.Barcode != "" && strings.TrimSpace(i.Barcode) == text
}

// Which returns the instruments that a text which was scanned or typed may mean: by tag, serial number or barcode. More
// than one means that nobody can say. A tag and a serial number are an instrument's for ever; a barcode label is meant
// for the instrument in service that carries it, where it has been stuck on another since.
func Which(fleet []Instrument, text string, at unit.Instant) (all []Instrument) {
	if text = strings.TrimSpace(text); text == "" {
		return nil
	}
	var left []Instrument
	for _, i := range fleet {
		switch {
		case i.named(text), i.labelled(text) && !i.Left(at):
			all = append(all, i)
		case i.labelled(text):
			left = append(left, i)
		}
	}
	if len(all) == 0 {
		return left
	}
	return all
}

// Shares returns a code of an instrument by which another one is meant too, empty when there is none.
func (i Instrument) Shares(other Instrument, at unit.Instant) string {
	both := []Instrument{i, other}
	for _, code := range append(i.Codes(), other.Codes()...) {
		if len(Which(both, code, at)) > 1 {
			return code
		}
	}
	return ""
}

// Codes are the texts by which an instrument is meant.
func (i Instrument) Codes() (all []string) {
	for _, code := range []string{i.Serial, i.Barcode, i.Tag} {
		if code = strings.TrimSpace(code); code != "" {
			all = append(all, code)
		}
	}
	return all
}
