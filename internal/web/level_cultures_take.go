package web

import (
	"errors"
	"net/http"

	"rinsate/internal/web/kit"
)

// takeCultures reads cultures that were pasted or sent as a file and leads back to the page that asked for
// them, which has them in its address from then on. Nothing is stored.
func (s levelPages) takeCultures(x *kit.Exchange) error {
	if err := x.R.ParseMultipartForm(cultureLimit); err != nil {
		if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
			return &kit.PageError{
				Status:  http.StatusRequestEntityTooLarge,
				Message: "A file of cultures has at most 256 kB.",
				Hint:    "Nothing was stored. Take a shorter period.",
			}
		}
		return &kit.PageError{Status: http.StatusBadRequest, Message: "The form cannot be read.", Hint: "Open the page anew and send it again."}
	}
	q := askedOf(x.R.PostForm)
	text := x.R.PostFormValue("csv")
	back, path, show := "cultures", workshopPath, s.showWorkshop
	if x.R.PostFormValue("page") == "compare" {
		back, path, show = "", comparePath, s.showCompare
	}
	all, err := readCultures(x, text)
	packed := ""
	if err == nil {
		if packed = packCultures(all); len(packed) > mostPacked || len(all) > mostCultures {
			err = mistyped(
				"These are %d cultures, more than an address can hold. Take those of a shorter period, or judge the level on the command line.",
				len(all),
			)
		}
	}
	if err != nil {
		status, words, ok := kit.Refused(x, err)
		if !ok {
			return err
		}
		return show(x, status, q, back, kit.Form{Problem: words, Typed: map[string]string{"csv": text}})
	}
	q["cultures"] = []string{packed}
	return x.Redirect(path + "?" + q.with("step", back) + "#" + "judged")
}
