package desk

import (
	"context"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store"
)

// said returns an answer as it may be given to somebody who asks at known: while paper decides it says so.
func said(v View, a reprocessing.Answer, known unit.Instant) (reprocessing.Answer, error) {
	site, err := v.People().Opening(known)
	return site.Said(a, v.Zone()), err
}

// saidNow is said about the present instant: a start that is on record has been signed, whatever the clock says.
func saidNow(v View, a reprocessing.Answer, known unit.Instant) (reprocessing.Answer, error) {
	site, err := v.People().Opening(known)
	if site.Start != nil {
		site.Start.At = min(site.Start.At, a.At)
	}
	return site.Said(a, v.Zone()), err
}

// OnPaper is a line for everybody while paper decides and not the records; empty once the start is signed.
func (d *Desk) OnPaper(ctx context.Context) string {
	if d.started.Load() {
		return ""
	}
	var why string
	err := d.DB.Read(ctx, func(tx *store.Tx) error {
		site, err := View{d, tx}.People().Opening(store.Forever)
		if err != nil {
			return err
		}
		if d.started.Store(site.Start != nil); site.Start == nil { // it is never taken back
			why = site.Why(tx.Now)
		}
		return nil
	})
	if err != nil {
		return "Whether the start of this site is signed cannot be read: go by the paper."
	}
	return why
}
