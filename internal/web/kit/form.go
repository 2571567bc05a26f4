package kit

import (
	"crypto/rand"
	"net/http"
	"net/url"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
)

// Form is a form of a scope's page, empty or as it was sent.
type Form struct {
	// ID is that of the record that it makes, so that sending it twice stores it once.
	ID      string
	Problem string
	// Prove asks for the password or PIN of whoever acts, as the signature.
	Prove bool
	// Typed is what was typed, by the name of the field; secrets are not kept.
	Typed map[string]string
}

// Sent is a form that was sent and not accepted, by its name on the page.
type Sent struct {
	Name string
	Form Form
}

// Form returns the form of a name as it was sent, or a new one.
func (x *Exchange) Form(s Sent, name string) *Form {
	if s.Name == name {
		return &s.Form
	}
	return &Form{ID: string(ledger.NewID(x.Shell.Now(), rand.Reader)), Typed: map[string]string{}}
}

// Read keeps what was typed into fields of a form.
func (x *Exchange) Read(fields ...string) Form {
	return FormOf(x.R.PostForm, fields...)
}

// FormOf keeps what was sent into fields of a form.
func FormOf(values url.Values, fields ...string) Form {
	f := Form{ID: values.Get("id"), Typed: map[string]string{}}
	for _, name := range fields {
		f.Typed[name] = values.Get(name)
	}
	return f
}

// Entry is what an act that a form asks for says about itself.
func (x *Exchange) Entry(f Form) (desk.Entry, error) {
	id, err := ledger.ParseID(f.ID)
	if err != nil {
		return desk.Entry{}, &PageError{Status: http.StatusBadRequest, Message: Sentence(err.Error()), Hint: "Open the page anew and send the form again."}
	}
	return desk.Entry{ID: id, By: x.Who.Code}, nil
}

// FormTime is how a browser writes what was chosen as date and time (HTML, valid local date and time).
const FormTime = "2006-01-02T15:04"

// Instant reads a date and time of the facility's zone.
func (s *Shell) Instant(text string) (unit.Instant, error) {
	t, err := time.ParseInLocation(FormTime, text, s.Desk.DB.Zone())
	if err != nil {
		return 0, &PageError{Status: http.StatusBadRequest, Message: "This is no date and time: " + text + ".", Hint: "Write it like " + s.Present() + "."}
	}
	return unit.At(t), nil
}

// Present is now as a form shows it.
func (s *Shell) Present() string { return s.Now().Time().In(s.Desk.DB.Zone()).Format(FormTime) }
