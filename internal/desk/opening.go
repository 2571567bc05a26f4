package desk

import (
	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// FirstDay is how far the site has come, for those who start it.
type FirstDay struct {
	// Why says why paper decides, empty once the start is signed.
	Why   string                  `json:"paper_decides,omitempty"`
	Trial bool                    `json:"begun_on_trial"`
	Start *reprocessing.StartNote `json:"start,omitempty"`
	// Founders are those with roles that nobody granted.
	Founders []reprocessing.Founder `json:"founders"`
	Stock    OnPaper                `json:"stock"`
}

// FirstDay returns how far the site has come, and the scopes of which nothing is on record.
func (v DayView) FirstDay(now unit.Instant) (f FirstDay, err error) {
	site, err := v.People().Opening(store.Forever)
	if err != nil {
		return f, err
	}
	f.Trial, f.Start = site.Trial, site.Start
	if site.Start == nil {
		f.Why = site.Why(now)
		if f.Founders, err = founders(v.View); err != nil {
			return f, err
		}
	} else {
		f.Founders = site.Start.Founders
	}
	f.Stock, err = v.OnPaper(now)
	return f, err
}

// founders returns those with roles that nobody granted, by their codes.
func founders(v View) (all []reprocessing.Founder, err error) {
	codes, err := v.People().Codes()
	if err != nil {
		return nil, err
	}
	clock, err := v.clock()
	if err != nil {
		return nil, err
	}
	all = []reprocessing.Founder{}
	for _, code := range codes {
		s, err := v.People().Signer(code, clock)
		if err != nil {
			return nil, err
		}
		var roles []access.Role
		for _, h := range s.Held {
			if h.Founding && s.Known {
				roles = append(roles, h.Role)
			}
		}
		if len(roles) > 0 {
			all = append(all, reprocessing.Founder{Code: code, Roles: roles})
		}
	}
	return all, nil
}

// SignStart ends the trial: from now on the records decide. A lead and infection prevention sign it together, once, and
// with it the list of those who have roles by then.
func (w SettingUp) SignStart(e Entry, second string) (Receipt, error) {
	if err := w.may(ToSignStart, &e); err != nil {
		return Receipt{}, err
	}
	if err := w.second(ToSignStart, e, &second); err != nil {
		return Receipt{}, err
	}
	if r, ok, err := again(w.Work, e.ID, record.Start, func(x reprocessing.StartNote) bool { return x.By == e.By && x.Second == second }); ok || err != nil {
		return r, err
	}
	site, err := w.People().Opening(store.Forever)
	if err != nil {
		return Receipt{}, err
	}
	if site.Start != nil {
		return Receipt{}, &fault.Error{
			Code: fault.Conflict, Message: "the start was signed at " + site.Start.At.In(w.Zone()) + " by " + site.Start.By + " and " + site.Start.Second,
			Hint: "a site starts once",
		}
	}
	if doubt, err := w.Day().ClockDoubted(w.tx.Now); err != nil {
		return Receipt{}, err
	} else if doubt != nil {
		return Receipt{}, &fault.Error{Code: fault.Conflict, Message: doubt.Why, Hint: doubt.Next + "; then sign the start"}
	}
	p, err := pair(w.View, e.By, second, 0, ToSignStart, ToSignStart)
	if err == nil {
		err = p.Be(access.Lead, access.InfectionPrevention)
	}
	if err != nil {
		return Receipt{}, err
	}
	n := reprocessing.StartNote{At: w.tx.Now, By: e.By, Second: second}
	n.ByRoles, n.SecondRoles = p.Roles()
	if n.Founders, err = founders(w.View); err != nil {
		return Receipt{}, err
	}
	if err := n.Check(); err != nil {
		return Receipt{}, refuse(err)
	}
	return w.append(e, record.Start, n.At, n)
}
