package web

import (
	"encoding/json"
	"net/http"

	"rinsate/internal/desk"
	"rinsate/internal/store"
)

// recordPage is one record as it is stored.
type recordPage struct {
	ID, Type, At, Recorded, By, Reason string
	Seq                                int64
	Late, Replaced                     bool
	Corrects, CorrectsHref             string
	Scope, ScopeHref                   string
	// File is what the record attaches; nil when it attaches nothing.
	File *fileLine
	Body string
}

func (s *Server) record(x *exchange) error {
	var page recordPage
	err := s.view(x.r.Context(), func(v desk.View) error {
		l, err := v.Show(x.r.PathValue("id"))
		if err != nil {
			return err
		}
		body, err := json.MarshalIndent(l.Body, "", "  ")
		if err != nil {
			return err
		}
		page = recordPage{
			ID: l.ID, Type: l.Type, At: l.At.In(v.Zone()), Recorded: l.Recorded.In(v.Zone()), By: l.By, Reason: l.Reason, Seq: l.Seq,
			Late: l.Late, Replaced: l.Replaced.Known(), Corrects: l.Corrects, CorrectsHref: s.recordHref(l.Corrects), Body: string(body),
		}
		var of struct {
			Scope string `json:"scope"`
		}
		if err := json.Unmarshal(l.Body, &of); err == nil && of.Scope != "" {
			page.Scope, page.ScopeHref = of.Scope, s.scopeHref(of.Scope)
		}
		if l.Type != store.TypeAttachment {
			return nil
		}
		a, err := v.Attachment(l.ID)
		if err == nil {
			file := s.fileLine(a, s.clockOf(v))
			page.File = &file
		}
		return err
	})
	if err != nil {
		return err
	}
	return x.show(http.StatusOK, "record", false, page)
}
