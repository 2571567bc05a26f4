package web

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"

	"rinsate/internal/desk"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/web/kit"
)

// firstDayPath is where a site is started, and where its stock is taken.
const firstDayPath = "/first-day"

// mostPhotographs is how many photographs come with one list, stockLimit how large the form with them may be.
const (
	mostPhotographs = 8
	stockLimit      = 4*dossier.MaxSize + kit.FormLimit
)

// firstDayPage says whether paper decides, and what is not known of the scopes.
type firstDayPage struct {
	Done string
	// Title is the finding; Why says why paper decides, empty once the start is signed.
	Title, Why string
	// Started, By and Href tell of the start once it is signed.
	Started, By, Href string
	Trial             bool
	Founders          []founderLine
	Open, Other       []stockLine
	Taken             []takenLine
	Cabinets          []string
	// Start and Stock are nil for whoever may not sign, or where there is nothing to sign.
	Start, Stock *kit.Form
}

type founderLine struct{ Code, Roles string }

// stockLine is a scope that is not known. What was typed into its line is kept.
type stockLine struct {
	Tag, Href, Model, Why, Until string
	Cabinets                     []choice
	Chosen                       bool
}

// takenLine is a scope that is ready by a list.
type takenLine struct{ Tag, Href, Cabinet, Until, Signed, By, Record string }

func (s dayPages) firstDay(x *kit.Exchange) error {
	return s.firstDayPage(x, http.StatusOK, kit.Sent{}, nil)
}

func (s dayPages) firstDayPage(x *kit.Exchange, status int, was kit.Sent, typed url.Values) error {
	page := firstDayPage{Done: x.R.URL.Query().Get("done")}
	err := s.View(x.R.Context(), func(v desk.View) error {
		f, err := v.Day().FirstDay(s.Now())
		if err != nil {
			return err
		}
		said := s.ClockOf(v)
		page.Why, page.Trial, page.Cabinets = kit.Sentence(f.Why), f.Trial, f.Stock.Cabinets
		if f.Start != nil {
			page.Started, page.By, page.Href = said(f.Start.At), f.Start.By+" and "+f.Start.Second, s.RecordHref(f.Start.ID)
		}
		for _, one := range f.Founders {
			page.Founders = append(page.Founders, founderLine{one.Code, s.Terms.Roles(one.Roles)})
		}
		for _, one := range f.Stock.Open {
			line := stockLine{
				Tag: one.Scope, Href: s.ScopeHref(one.Scope), Model: one.Model, Why: one.Why,
				Chosen: slices.Contains(typed["scope"], one.Scope), Until: typed.Get("until-" + one.Scope),
			}
			for _, c := range f.Stock.Cabinets {
				line.Cabinets = append(line.Cabinets, choice{c, c, typed.Get("cabinet-"+one.Scope) == c})
			}
			if one.Why == "" {
				page.Open = append(page.Open, line)
			} else {
				page.Other = append(page.Other, line)
			}
		}
		for _, t := range f.Stock.Taken {
			page.Taken = append(page.Taken, takenLine{
				t.Scope, s.ScopeHref(t.Scope), t.Cabinet, said(t.Until), said(t.At), t.By + " and " + t.Second, s.RecordHref(t.ID),
			})
		}
		return nil
	})
	if err != nil {
		return err
	}
	switch {
	case page.Why == "":
		page.Title = "First day: started"
	case page.Trial:
		page.Title = "First day: paper decides"
	default:
		page.Title = "The start is not signed: paper decides"
	}
	if x.Can(desk.ToSignStart) && page.Why != "" {
		page.Start = x.Form(was, "start")
		page.Start.Prove = x.Unsigned()
	}
	if x.Can(desk.ToTakeStock) && len(page.Open) > 0 {
		page.Stock = x.Form(was, "stock")
		page.Stock.Prove = x.Unsigned()
	}
	return x.Show(status, "first-day", false, page)
}

// signStart ends the trial. It is a signature of two.
func (s dayPages) signStart(x *kit.Exchange) error {
	f := x.Read("second")
	err := func() error {
		e, err := x.Entry(f)
		if err != nil {
			return err
		}
		if err := signedByTwo(x, f, &e); err != nil {
			return err
		}
		return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
			_, err := w.SettingUp().SignStart(e, "")
			return err
		})
	}()
	return s.afterFirstDay(x, err, "start", f, nil)
}

// takeStock records a list of scopes with the photographs of their paper. It is a signature of two.
func (s dayPages) takeStock(x *kit.Exchange) error {
	fields, photographs, err := readStock(x)
	f := kit.FormOf(fields, "second")
	if err == nil {
		err = s.tookStock(x, f, fields, photographs)
	}
	return s.afterFirstDay(x, err, "stock", f, fields)
}

func (s dayPages) tookStock(x *kit.Exchange, f kit.Form, fields url.Values, photographs []desk.Photograph) error {
	e, err := x.Entry(f)
	if err != nil {
		return err
	}
	var list []desk.Listed
	for _, tag := range fields["scope"] {
		one := desk.Listed{Scope: tag, Cabinet: fields.Get("cabinet-" + tag)}
		if one.Until, err = s.Instant(fields.Get("until-" + tag)); err != nil {
			return &kit.PageError{Status: http.StatusBadRequest, Message: "When does the storage of " + tag + " end, by its paper?"}
		}
		list = append(list, one)
	}
	if len(list) == 0 {
		return &kit.PageError{Status: http.StatusBadRequest, Message: "Mark the scopes that the paper shows."}
	}
	if err := x.Sign(fields.Get("secret")); err != nil {
		return err
	}
	if err := vouchedBy(x, f.Typed["second"], fields.Get("second-password"), &e); err != nil {
		return err
	}
	return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		_, err := w.Vouching().TakeStock(e, list, photographs, "")
		return err
	})
}

// readStock reads the form of a list part by part.
func readStock(x *kit.Exchange) (fields url.Values, photographs []desk.Photograph, err error) {
	fields = url.Values{}
	parts, err := x.R.MultipartReader()
	if err != nil {
		return fields, nil, &kit.PageError{Status: http.StatusBadRequest, Message: "The form has no photograph.", Hint: "Open the page anew and send it again."}
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return fields, photographs, nil
		}
		if err != nil {
			return fields, nil, unreadable(err)
		}
		one := uploaded{fields: fields}
		if err := one.take(part); err != nil {
			return fields, nil, err
		}
		if part.FormName() != "file" || one.name == "" && len(one.content) == 0 {
			continue
		}
		media, err := dossier.Claim(one.name, one.declared)
		if err != nil {
			return fields, nil, &kit.PageError{Status: http.StatusUnsupportedMediaType, Message: kit.Sentence(err.Error())}
		}
		if photographs = append(photographs, desk.Photograph{Media: media, Content: one.content}); len(photographs) > mostPhotographs {
			return fields, nil, &kit.PageError{
				Status:  http.StatusRequestEntityTooLarge,
				Message: fmt.Sprintf("At most %d photographs come with one list.", mostPhotographs), Hint: "Sign the rest as another list.",
			}
		}
	}
}

// afterFirstDay answers what was signed on the page.
func (s dayPages) afterFirstDay(x *kit.Exchange, err error, name string, f kit.Form, typed url.Values) error {
	if err == nil {
		return x.Redirect(firstDayPath + "?done=" + name)
	}
	status, words, ok := kit.Refused(x, err)
	if !ok {
		return err
	}
	f.Problem = words
	return s.firstDayPage(x, status, kit.Sent{Name: name, Form: f}, typed)
}
