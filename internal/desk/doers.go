package desk

import (
	"cmp"
	"fmt"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store"
)

// doers says of what is on record whether whoever is named for it could do it: what nobody did, or somebody whom nobody
// here knows, proves nothing by itself.
type doers struct {
	v     View
	known unit.Instant
	// asked are the answers, as those of a history are few people and many acts.
	asked map[doing]string
}

// doing is an act of somebody at the time when it was put on record.
type doing struct {
	by   string
	at   unit.Instant
	what access.Permission
	room bool
}

func doersOf(v View, known unit.Instant) *doers {
	return &doers{v: v, known: known, asked: map[doing]string{}}
}

// ofStep is why nothing shows that whoever did a step may do that; empty where something does.
func (d *doers) ofStep(s reprocessing.Step, k store.Kept) (string, error) {
	atBedside := s.Kind == reprocessing.PointOfUse || s.Kind == reprocessing.Transport || s.Kind == reprocessing.Issue
	return d.of(doing{cmp.Or(s.By, k.By), k.Recorded, access.RecordStep, atBedside})
}

// of is why nothing shows that somebody may do something; empty where something does. What happens in the procedure room
// is done by whoever works there.
func (d *doers) of(x doing) (string, error) {
	if why, ok := d.asked[x]; ok {
		return why, nil
	}
	why, err := d.look(x)
	if err == nil {
		d.asked[x] = why
	}
	return why, err
}

func (d *doers) look(x doing) (string, error) {
	if x.by == "" {
		return "names nobody who did it", nil
	}
	people := d.v.People()
	roles, registered, err := people.RolesAt(x.by, x.at, d.known)
	if err == nil && !registered {
		var code string
		if code, err = people.Spelled(x.by); err == nil && code != x.by {
			roles, registered, err = people.RolesAt(code, x.at, d.known)
		}
	}
	switch {
	case err != nil:
		return "", err
	case !registered:
		return fmt.Sprintf("names %s, who was not registered here when it was put on record", x.by), nil
	case access.Allows(roles, x.what), x.room && access.Allows(roles, access.SeeRelease):
		return "", nil
	case len(roles) == 0:
		return fmt.Sprintf("names %s, who had no role here that this tool knows", x.by), nil
	}
	return fmt.Sprintf("names %s, whose role was %s", x.by, access.Words(roles)), nil
}
