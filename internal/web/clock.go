package web

import (
	"net/http"

	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/web/kit"
)

// clockPath is where the computer's clock is compared.
const clockPath = "/clock"

// clockPage says whether the computer's clock is in doubt, and takes what another one shows.
type clockPage struct {
	// Shows is what the computer's clock shows.
	Shows string
	// Why says why it is in doubt, empty when it is not.
	Why  string
	Said bool
	// Apart says that the comparison just recorded found the two clocks apart.
	Apart bool
	// Form is nil for whoever may not compare.
	Form   *kit.Form
	Clocks []choice
	// Alone says that one person is enough.
	Alone bool
}

// choice is one of the answers that a form offers.
type choice struct {
	Value, Words string
	Chosen       bool
}

// clockDoubt is the line that leads from other pages to that of the clock; nil while nothing is wrong.
type clockDoubt struct{ Why, Href string }

// clockDoubt says whether the computer's clock is in doubt.
func (s *Server) clockDoubt(v desk.View, now unit.Instant) (*clockDoubt, error) {
	d, err := v.Day().ClockDoubted(now)
	if d == nil || err != nil {
		return nil, err
	}
	return &clockDoubt{s.ClockOf(v).Said(d.Why), s.URL(clockPath)}, nil
}

func (s dayPages) clock(x *kit.Exchange) error {
	return s.clockPage(x, http.StatusOK, kit.Sent{})
}

func (s dayPages) clockPage(x *kit.Exchange, status int, was kit.Sent) error {
	page := clockPage{Said: x.R.URL.Query().Get("done") == "compared", Apart: x.R.URL.Query().Get("done") == "apart", Alone: x.May(access.VoidRecord)}
	err := s.View(x.R.Context(), func(v desk.View) error {
		now := s.Now()
		page.Shows = now.In(v.Zone())
		d, err := v.Day().ClockDoubted(now)
		if d != nil {
			page.Why = kit.Sentence(s.ClockOf(v).Said(d.Why))
		}
		return err
	})
	if err != nil {
		return err
	}
	if x.Can(desk.ToCompareClock) {
		page.Form = x.Form(was, "compare")
		page.Form.Prove = x.Unsigned()
		for _, c := range reprocessing.OtherClocks {
			page.Clocks = append(page.Clocks, choice{string(c), c.Words(), page.Form.Typed["other"] == string(c)})
		}
	}
	return x.Show(status, "clock", false, page)
}

// compareClock records that people compared the computer's clock with another one. It is a signature, of the second
// person as well where one is needed.
func (s dayPages) compareClock(x *kit.Exchange) error {
	f := x.Read("saw", "other", "second")
	noticed, err := s.compared(x, f)
	if err == nil {
		done := "compared"
		if noticed == reprocessing.ByApart {
			done = "apart"
		}
		return x.Redirect(clockPath + "?done=" + done)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.clockPage(x, status, kit.Sent{Name: "compare", Form: f})
}

func (s dayPages) compared(x *kit.Exchange, f kit.Form) (noticed reprocessing.Noticed, err error) {
	e, err := x.Entry(f)
	if err != nil {
		return "", err
	}
	saw, err := s.Instant(f.Typed["saw"])
	if err != nil {
		return "", err
	}
	if err := signedByTwo(x, f, &e); err != nil {
		return "", err
	}
	err = x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		r, err := w.Care().CompareClock(e, reprocessing.ClockNote{Other: reprocessing.OtherClock(f.Typed["other"]), Saw: saw})
		if err != nil {
			return err
		}
		n, err := record.Body[reprocessing.ClockNote](r.Record)
		noticed = n.Noticed
		return err
	})
	return noticed, err
}
