package web

import (
	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// vouch lets a second person agree; whether they may is the desk's to say.
func (s *Server) vouch(x *kit.Exchange, code, password string) (access.Actor, error) {
	second, err := s.Door.Vouch(x.R.Context(), code, password, x.Source())
	if err != nil {
		shown := x.Shown(err)
		return second, &kit.PageError{Status: shown.Status, Message: "Second person: " + shown.Message, Hint: shown.Hint}
	}
	return second, nil
}
