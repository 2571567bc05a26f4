package desk

import (
	"cmp"
	"fmt"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/identity"
	"rinsate/internal/store"
)

// doers says of what is on record whether whoever is named for it could do it: what nobody did, or somebody whom nobody
// here knows, proves nothing by itself.
type doers struct {
	v     View
	known unit.Instant
	// asked are the people of a history, who are few and do much.
	asked map[string]identity.Tenure
}

// doing is an act of somebody at the time when it was put on record.
type doing struct {
	by   string
	at   unit.Instant
	what access.Permission
	// room says that it happens in the procedure room, where whoever works there does it.
	room bool
}

func doersOf(v View, known unit.Instant) *doers {
	return &doers{v: v, known: known, asked: map[string]identity.Tenure{}}
}

// ofStep is why nothing shows that whoever did a step may do that; empty where something does.
func (d *doers) ofStep(s reprocessing.Step, k store.Kept) (string, error) {
	atBedside := s.Kind == reprocessing.PointOfUse || s.Kind == reprocessing.Transport || s.Kind == reprocessing.Issue
	return d.of(doing{cmp.Or(s.By, k.By), k.Recorded, access.RecordStep, atBedside})
}

// of is why nothing shows that somebody may do something, as the end of a sentence that begins with it; empty where
// something does.
func (d *doers) of(x doing) (string, error) {
	if x.by == "" {
		return "names nobody who did it", nil
	}
	who, err := d.tenure(x.by)
	if err != nil {
		return "", err
	}
	switch roles, registered := who.At(x.at); {
	case !registered:
		return fmt.Sprintf("names %s, who was not registered here when it was put on record", x.by), nil
	case access.Allows(roles, x.what), x.room && access.Allows(roles, access.SeeRelease):
		return "", nil
	case len(roles) == 0:
		return fmt.Sprintf("names %s, who had no role here that this tool knows", x.by), nil
	default:
		return fmt.Sprintf("names %s, whose role was %s", x.by, access.Words(roles)), nil
	}
}

// tenure returns what somebody was here, however their code is written.
func (d *doers) tenure(by string) (who identity.Tenure, err error) {
	if who, ok := d.asked[by]; ok {
		return who, nil
	}
	people := d.v.People()
	if who, err = people.Tenure(by, d.known); err == nil && !who.Ever() {
		var code string
		if code, err = people.Spelled(by); err == nil && code != by {
			who, err = people.Tenure(code, d.known)
		}
	}
	if err == nil {
		d.asked[by] = who
	}
	return who, err
}
