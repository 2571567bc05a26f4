package record

import (
	"encoding/json"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
)

// Clock records that the computer's clock stepped, or that people compared it with another one.
const Clock Kind = ledger.TypeClock

var clock = describe(kind[reprocessing.ClockNote]{
	kind: Clock, means: "that the computer's clock stepped, or that people compared it with another one",
	version: 2, older: []Reader{clockSetBack},
	key: ownID,
	fields: []Field{
		plain("from", "before"), plain("to", "then"), plain("elapsed", "time that had passed"), plain("noticed", "noticed by"),
		plain("other", "compared with"), plain("saw", "the other clock showed"), found("by", "", ByPerson),
		found("second", "second person", ByPerson),
	},
	words: reprocessing.ClockNote.Words,
	kept:  fromOthers,
	example: reprocessing.ClockNote{
		From: exampleAt, To: exampleAt, Noticed: reprocessing.ByCompared, Other: reprocessing.Phone, Saw: exampleAt, By: "T-01", Second: "T-02",
	},
})

// clockSetBack reads version 1, which knew of steps back across two records alone.
func clockSetBack(body json.RawMessage) (json.RawMessage, error) {
	var old struct {
		Before unit.Instant `json:"before"`
		Now    unit.Instant `json:"now"`
	}
	if err := json.Unmarshal(body, &old); err != nil {
		return nil, err
	}
	return json.Marshal(reprocessing.ClockNote{From: old.Before, To: old.Now, Noticed: reprocessing.ByRecords})
}

// ClockBehind returns the body of the note that the clock shows less than the newest record has, ok = false when it
// does not, but for what time servers correct all the time.
func ClockBehind(newest, now unit.Instant) (body any, ok bool) {
	n, ok := reprocessing.Behind(newest, now)
	return n, ok
}
