package scope

import (
	"fmt"
	"reflect"
	"slices"

	"rinsate/internal/base/text"
)

// What asks for less than an edition before it takes two people. What can be shown to ask for as much or for more does
// not; everything else counts as less, also what is only different, and also what nobody has thought of here.

// Laxer lists in words what one description of a model asks less of than one before it, or that of another model which a
// scope is said to be; none where it can be shown to ask for as much.
func Laxer(before, after Model) (less []string) {
	say := func(format string, args ...any) { less = append(less, fmt.Sprintf(format, args...)) }
	if after.Kind != before.Kind {
		say("it is a %s instead of a %s", after.Kind.Words(), before.Kind.Words())
	}
	if after.Risk != before.Risk && after.Risk != HighRisk {
		say("the risk is %s instead of %s", after.Risk, before.Risk)
	}
	if before.Elevator && !after.Elevator {
		say("no elevator any more")
	}
	// What is found on a larger area counts for less on each square centimetre of it.
	if after.OuterDiameter > before.OuterDiameter || after.SampledLength > before.SampledLength {
		say("the distal end is larger")
	}
	for _, b := range before.Channels {
		i := slices.IndexFunc(after.Channels, func(c Channel) bool { return c.Kind == b.Kind })
		if i < 0 {
			say("no %s channel any more", text.Spaced(b.Kind))
			continue
		}
		a := after.Channels[i]
		if a.Sealed && !b.Sealed {
			say("the %s channel is sealed, so that it is not sampled", text.Spaced(b.Kind))
		}
		// A wider or longer one has a larger area, a narrower or shorter one is filled by a smaller flush.
		if a.Diameter != b.Diameter || a.Length != b.Length {
			say("the %s channel has another bore or length", text.Spaced(b.Kind))
		}
		// What leads to it, and what cleans it, is told to people and asked of nobody.
		for _, c := range []*Channel{&a, &b} {
			c.Sealed, c.Diameter, c.Length = false, 0, 0
			c.Port, c.Brushable, c.Flushable, c.Cleaning = "", false, false, ""
		}
		if !reflect.DeepEqual(a, b) {
			say("something else is said of the %s channel", text.Spaced(b.Kind))
		}
	}
	for _, b := range before.Points() {
		switch a, there := after.Point(b.Kind); {
		case b.Routine && (!there || !a.Routine):
			say("%s: in no cleaning verification any more", b.Kind.Words())
		case !there:
			say("%s: no sampling point any more", b.Kind.Words())
		}
	}
	for _, m := range []*Model{&before, &after} {
		m.Name, m.Kind, m.Risk, m.Elevator, m.OuterDiameter, m.SampledLength = "", "", "", false, 0, 0
		m.Channels, m.Chosen, m.Instructions, m.Second = nil, nil, "", ""
	}
	if !reflect.DeepEqual(before, after) {
		say("something else is said")
	}
	return less
}

// LaxerInstrument lists in words what one entry of a scope asks less of than one before it, but for what its model asks:
// that is for [Laxer]. Whose it is is asked by what its arrival makes due, and by a stock-take, which two sign.
func LaxerInstrument(before, after Instrument) (less []string) {
	say := func(format string, args ...any) { less = append(less, fmt.Sprintf(format, args...)) }
	if after.InService < before.InService {
		say("it came into service earlier, so that what was done before its arrival counts")
	}
	if before.Owner != Own && after.Owner == Own {
		say("it is an own scope instead of a %s, so that its arrival asks for no cleaning verification", before.Owner.Words())
	}
	if after.TakesBack(before) {
		say("it is not out of service any more")
	}
	for _, i := range []*Instrument{&before, &after} {
		i.Tag, i.Serial, i.Barcode, i.Model, i.Owner, i.Location, i.InService, i.Retired, i.Second = "", "", "", "", "", "", 0, 0, ""
	}
	if !reflect.DeepEqual(before, after) {
		say("something else is said")
	}
	return less
}
