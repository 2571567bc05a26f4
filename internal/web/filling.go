package web

import (
	"fmt"
	"math"
	"net/http"
	"slices"
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
	day := s.now().Time().In(s.desk.DB.Zone()).Format("2 January")
	// Never 100 %: the year is complete when it says so.
	return fmt.Sprintf("The invented year is being recorded: %s, %.0f %%. Look around; nothing can be written before it is complete.", day, math.Floor(min(99, 100*share)))
}

// fillingFrame is the line that every page has while the year is recorded, and where it asks for news of it.
type fillingFrame struct{ Words, Href string }

func (s *Server) fillingFrame() *fillingFrame {
	if words := s.fillingWords(); words != "" {
		return &fillingFrame{words, s.url("/filling")}
	}
	return nil
}

// howFull answers the script of a page that was opened while the year was recorded.
func (s *Server) howFull(x *exchange) error {
	words := s.fillingWords()
	status := http.StatusOK
	if words == "" {
		status, words = http.StatusGone, "The invented year is complete. Open the page anew to see it as of now."
	}
	x.answer(status, "text/plain; charset=utf-8", []byte(words))
	return nil
}

// waitsForYear refuses what would be written into a year that is not complete.
func (s *Server) waitsForYear(r route) error {
	if r.method != http.MethodPost || slices.Contains(openWhileFilling, r.path) {
		return nil
	}
	if words := s.fillingWords(); words != "" {
		return &pageError{
			status: http.StatusServiceUnavailable, message: "The invented year is still being recorded, so that nothing can be written yet.",
			hint: "Nothing was stored. Look around meanwhile, and do this again when the line on the pages is gone.",
		}
	}
	return nil
}
