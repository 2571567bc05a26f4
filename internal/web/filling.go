package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"

	"rinsate/internal/web/kit"
)

// The pages of an invented hospital are open while its year is still being recorded. Whoever looks sees
// the year's own time go by; nobody may write before the year is complete, since what a person writes now
// would lie behind what is still to come.

// openWhileFilling are the acts that put nothing on record: coming in and going out.
var openWhileFilling = []string{"/sign-in", "/unlock", "/switch", "/lock", "/sign-out"}

// fillingWords says how far the invented year is, empty when it is complete.
func (s *Server) fillingWords() string {
	if s.filling == nil {
		return ""
	}
	share, more := s.filling()
	if !more {
		return ""
	}
	day := s.Now().Time().In(s.Desk.DB.Zone()).Format("2 January")
	// Never 100 %: the year is complete when it says so.
	return fmt.Sprintf(
		"The invented year is being recorded: %s, %.0f %%. Look around; nothing can be written before it is complete.",
		day,
		math.Floor(min(99, 100*share)),
	)
}

// notice is the line that every page has while the records cannot be relied on, or while the year is recorded.
func (s *Server) notice() *kit.Notice {
	if copied := s.Desk.Behind(); copied != "" {
		return &kit.Notice{Words: copied, Href: s.URL(restoredPath), Alarm: true}
	}
	if doubt := s.Desk.Doubt(); doubt != "" {
		return &kit.Notice{Words: doubt, Alarm: true}
	}
	if why := s.Desk.OnPaper(context.Background()); why != "" && s.fillingWords() == "" {
		return &kit.Notice{Words: kit.Sentence(why), Href: s.URL(firstDayPath), Paper: true}
	}
	if words := s.fillingWords(); words != "" {
		return &kit.Notice{Words: words, Href: s.URL("/filling")}
	}
	return nil
}

// howFull answers the script of a page that was opened while the year was recorded.
func (s *Server) howFull(x *kit.Exchange) error {
	words := s.fillingWords()
	status := http.StatusOK
	if words == "" {
		status, words = http.StatusGone, "The invented year is complete. Open the page anew to see it as of now."
	}
	x.Answer(status, "text/plain; charset=utf-8", []byte(words))
	return nil
}

// waitsForYear refuses what would be written into a year that is not complete.
func (s *Server) waitsForYear(r kit.Route) error {
	if r.Method != http.MethodPost || slices.Contains(openWhileFilling, r.Path) {
		return nil
	}
	if words := s.fillingWords(); words != "" {
		return &kit.PageError{
			Status: http.StatusServiceUnavailable, Message: "The invented year is still being recorded, so that nothing can be written yet.",
			Hint: "Nothing was stored. Look around meanwhile, and do this again when the line on the pages is gone.",
		}
	}
	return nil
}
