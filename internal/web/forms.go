package web

import (
	"crypto/rand"
	"net/http"
	"net/url"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
)

// form is a form of a scope's page, empty or as it was sent.
type form struct {
	// ID is that of the record that it makes, so that sending it twice stores it once.
	ID      string
	Problem string
	// Prove asks for the password or PIN of whoever acts, as the signature.
	Prove bool
	// Typed is what was typed, by the name of the field; secrets are not kept.
	Typed map[string]string
}

// sent is a form that was sent and not accepted, by its name on the page.
type sent struct {
	name string
	form form
}

// form returns the form of a name as it was sent, or a new one.
func (x *exchange) form(s sent, name string) *form {
	if s.name == name {
		return &s.form
	}
	return &form{ID: string(ledger.NewID(x.s.now(), rand.Reader)), Typed: map[string]string{}}
}

// read keeps what was typed into fields of a form.
func (x *exchange) read(fields ...string) form {
	return formOf(x.r.PostForm, fields...)
}

func formOf(values url.Values, fields ...string) form {
	f := form{ID: values.Get("id"), Typed: map[string]string{}}
	for _, name := range fields {
		f.Typed[name] = values.Get(name)
	}
	return f
}

// entry is what an act that a form asks for says about itself.
func (x *exchange) entry(f form) (desk.Entry, error) {
	id, err := ledger.ParseID(f.ID)
	if err != nil {
		return desk.Entry{}, &pageError{status: http.StatusBadRequest, message: sentence(err.Error()), hint: "Open the page anew and send the form again."}
	}
	return desk.Entry{ID: id, By: x.who.Code}, nil
}

// voidForm is the form that takes a record back; nil for whoever may not.
func (x *exchange) voidForm(v desk.View, was sent, id ledger.ID) (*form, error) {
	signed, err := v.TakesBack(x.actor(), id)
	if fault.CodeOf(err) == fault.Forbidden {
		return nil, nil
	}
	f := x.form(was, "void-"+string(id))
	f.Prove = signed && x.unsigned()
	return f, err
}

// takesBack says whether taking a record back, or putting another in its place, would be a signature of
// whoever asks; an error with the code fault.Forbidden when they may not at all.
func (x *exchange) takesBack(id ledger.ID) (signed bool, err error) {
	err = x.s.view(x.r.Context(), func(v desk.View) (err error) {
		signed, err = v.TakesBack(x.actor(), id)
		return err
	})
	return signed, err
}

// takeBack takes the record back that an entry names, and lets whoever asks sign where that is a signature.
func (x *exchange) takeBack(e desk.Entry) error {
	signed, err := x.takesBack(e.Corrects)
	if err == nil && signed {
		err = x.sign(x.r.PostFormValue("secret"))
	}
	if err != nil {
		return err
	}
	return x.acting().Do(x.r.Context(), func(w *desk.Work) error {
		_, err := w.Void(e)
		return err
	})
}

// formTime is how a browser writes what was chosen as date and time (HTML, valid local date and time).
const formTime = "2006-01-02T15:04"

// instant reads a date and time of the facility's zone.
func (s *Server) instant(text string) (unit.Instant, error) {
	t, err := time.ParseInLocation(formTime, text, s.desk.DB.Zone())
	if err != nil {
		return 0, &pageError{status: http.StatusBadRequest, message: "This is no date and time: " + text + ".", hint: "Write it like " + s.present() + "."}
	}
	return unit.At(t), nil
}

// present is now as a form shows it.
func (s *Server) present() string { return s.now().Time().In(s.desk.DB.Zone()).Format(formTime) }
