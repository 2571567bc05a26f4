package kit

import (
	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
)

// VoidForm is the form that takes a record back; nil for whoever may not.
func VoidForm(x *Exchange, v desk.View, was Sent, id ledger.ID) (*Form, error) {
	t, err := v.Records().Taking(x.Actor(), id)
	if fault.CodeOf(err) == fault.Forbidden {
		return nil, nil
	}
	f := x.Form(was, "void-"+string(id))
	f.Prove = t.Signed && x.Unsigned()
	return f, err
}

// TakesBack says whether taking a record back, or putting another in its place, would be a signature of
// whoever asks; an error with the code fault.Forbidden when they may not at all.
func TakesBack(x *Exchange, id ledger.ID) (signed bool, err error) {
	err = x.Shell.View(x.R.Context(), func(v desk.View) (err error) {
		t, err := v.Records().Taking(x.Actor(), id)
		signed = t.Signed
		return err
	})
	return signed, err
}

// TakeBack takes the record back that an entry names, and lets whoever asks sign where that is a signature.
func TakeBack(x *Exchange, e desk.Entry) error {
	signed, err := TakesBack(x, e.Corrects)
	if err == nil && signed {
		err = x.Sign(x.R.PostFormValue("secret"))
	}
	if err != nil {
		return err
	}
	return x.Acting().Do(x.R.Context(), func(w *desk.Work) error {
		_, err := w.Void(e)
		return err
	})
}
