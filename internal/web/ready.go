package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/present/words"
	"rinsate/internal/store"
	"rinsate/internal/web/kit"
)

// releasePage is the answer for the procedure room. It holds nothing about patients or people.
type releasePage struct {
	// Asked is what was scanned or typed; empty before.
	Asked  string
	Answer *releaseAnswer
	// Unregistered says that no scope has this tag, barcode or serial number.
	Unregistered bool
	// Which are the scopes that it may mean, where nobody can say which one.
	Which []whichScope
	// Clock leads to where the computer's clock is compared, while it is in doubt; empty for whoever may not open
	// that.
	Clock string
	// Emergency leads to where an emergency use is recorded, where the answer is no.
	Emergency string
	// Wrong leads to where whoever may says that something is wrong with it; empty for others.
	Wrong string
	// Attest leads to where acts that are not proven are attested, while one of them keeps the scope; empty for
	// whoever may not do that.
	Attest string
	// SignIn leads to where whoever has not signed in does that and comes back, where the answer keeps something from them.
	SignIn string
	// End leads to where the end of the use is recorded that goes on; empty for whoever may not.
	End string
}

// whichScope is one of several that a scanned text may mean.
type whichScope struct{ Scope, Kind, Serial, Href, Emergency string }

type releaseAnswer struct {
	Scope, Kind string
	// ByPaper says that it is ready by the records and that paper decides, Paper says of another answer that paper decides
	// here, and Stock that the answer rests on a stock-take; empty where they do not.
	Paper, Stock string
	ByPaper      bool
	Mark         words.Mark
	Until, Left  string
	// Short is how far from ready it is; empty when it is ready.
	Short   string
	Reasons []string
	Next    []string
	At      string
	Usable  bool
	// Elsewhere says that somebody else releases it; NotChecked names what is not checked here.
	Elsewhere    bool
	NotChecked   string
	UntilInstant string
}

// release answers whether a scope may be used. The form sends the tag as a query, so that the page works
// without a script and the answer has an address of its own.
func (s dayPages) release(x *kit.Exchange) error {
	asked := strings.TrimSpace(x.R.PathValue("tag"))
	if asked == "" {
		asked = strings.TrimSpace(x.R.URL.Query().Get("scope"))
	}
	page := releasePage{Asked: asked}
	if asked == "" {
		return x.Show(http.StatusOK, "ready", x.Who == nil, page)
	}
	status := http.StatusOK
	err := s.View(x.R.Context(), func(v desk.View) error {
		fleet, err := v.Registry().Instruments()
		if err != nil {
			return err
		}
		now := s.Now()
		meant := scope.Which(fleet, asked, now)
		switch {
		case len(meant) == 0:
			page.Unregistered, status = true, http.StatusNotFound
			return nil
		case len(meant) > 1:
			page.Which, status = s.which(meant), http.StatusConflict
			return nil
		}
		found := meant[0]
		doubt, err := s.clockDoubt(v, now)
		if err != nil {
			return err
		}
		if doubt != nil && x.May(access.SeeBoard) {
			page.Clock = doubt.Href
		}
		a, err := v.Day().AnswerNow(found.Tag, now, store.Forever)
		if err != nil {
			return err
		}
		if x.Who == nil || x.Can(desk.ToPlaceHold) { // nobody has to sign in before being asked who they are
			page.Wrong = s.URL(wrongPath(found.Tag))
		}
		if len(a.Wanting) > 0 && x.Can(desk.ToAttest) {
			page.Attest = s.URL(attestPath)
		}
		a = s.ClockOf(v).Answer(s.Terms.Answer(a))
		answer := releaseAnswer{
			Scope:  a.Scope,
			Kind:   found.Model,
			Mark:   s.Terms.State(a.State),
			At:     words.Short(now, now, v.Zone()),
			Usable: a.State == reprocessing.Ready,
			Next:   a.Next,

			Elsewhere: a.State == reprocessing.NothingAgainst, NotChecked: a.NotChecked(),
		}
		if answer.ByPaper = a.State == reprocessing.PaperDecides; !answer.ByPaper { // else the first reason says so
			answer.Paper = paperWords(a)
		}
		if !a.State.Clear() && !answer.ByPaper {
			answer.Short, page.Emergency = s.shortOf(*a.Short, s.ClockOf(v)), s.URL(emergencyPath(found.Tag))
		}
		if a.StockTake != "" && len(a.Reasons) > 0 {
			i := slices.IndexFunc(a.Reasons, func(r reprocessing.Reason) bool { return r.Record == a.StockTake })
			answer.Stock = kit.Sentence(a.Reasons[max(i, 0)].Text)
		}
		for _, r := range a.Reasons {
			if r.Blocks {
				said := r.Public()
				if x.Who != nil {
					said = r.Whole()
				} else if r.Said != "" {
					page.SignIn = s.URL("/sign-in?next=" + url.QueryEscape("/ready/"+url.PathEscape(found.Tag)))
				}
				answer.Reasons = append(answer.Reasons, said) // without who
			}
		}
		if a.Until.Known() {
			answer.Until, answer.Left = words.Short(a.Until, now, v.Zone()), words.Age(a.Until.Sub(now))
		}
		page.End = s.endOfUse(x, &answer, a)
		page.Answer = &answer
		return nil
	})
	if err != nil {
		return err
	}
	return x.Show(status, "ready", x.Who == nil, page)
}

// endOfUse returns where the end of a use that goes on is recorded; whoever may not reads in the answer who does.
func (s dayPages) endOfUse(x *kit.Exchange, answer *releaseAnswer, a reprocessing.Answer) string {
	i := slices.IndexFunc(answer.Next, func(next string) bool { return strings.HasPrefix(next, reprocessing.EndTheUse) })
	if a.InUse == "" || i < 0 {
		return ""
	}
	if !x.Can(desk.ToRecordUse) {
		answer.Next = slices.Clone(answer.Next)
		answer.Next[i] += "; whoever reprocesses it, or a lead, records the end: tell them when it was"
		return ""
	}
	return s.RecordHref(a.InUse)
}

// which are the scopes of which one is meant and nobody can say which.
func (s dayPages) which(meant []scope.Instrument) (all []whichScope) {
	for _, i := range meant {
		all = append(all, whichScope{i.Tag, i.Model, i.Serial, s.URL("/ready/" + url.PathEscape(i.Tag)), s.URL(emergencyPath(i.Tag))})
	}
	return all
}

// tagged finds the scope of an address that a page has led to: by its own tag first, else as what was scanned.
func tagged(v desk.View, text string) (scope.Instrument, error) {
	fleet, err := v.Registry().Instruments()
	if err != nil {
		return scope.Instrument{}, err
	}
	if i := slices.IndexFunc(fleet, func(i scope.Instrument) bool { return i.Tag == text }); i >= 0 {
		return fleet[i], nil
	}
	return v.Registry().Named(text)
}

// paperWords is what the answer for the procedure room says while paper decides, empty when it does not.
func paperWords(a reprocessing.Answer) string {
	if a.Paper == nil {
		return ""
	}
	return kit.Sentence(strings.TrimSpace(a.Paper.Why))
}
