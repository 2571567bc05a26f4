package quality_test

import (
	"encoding/json"
	"reflect"
	"testing"

	"rinsate/internal/domain/quality"
)

// What is stored reads back the same, under names in lower case.
func TestStorage(t *testing.T) {
	t.Parallel()
	control := parseRuns(t, "A0")[0][0]
	control.ID = "" // the id is the record's, not the body's
	target := levelTarget("A")
	target.Meter, target.Low, target.High = "M-1", 1, 2.5
	tests := []struct {
		value any
		want  string
	}{
		{&control, `{"meter":"M-1","kind":"positive","material":"light source","lot":"A","value":"999","at":1100,"person":"lead","run":"run 01"}`},
		{
			&target,
			`{"system":"system A","meter":"M-1","kind":"positive","material":"light source",` +
				`"lot":"A","low":"1","high":"2.5","mean_log10":"3","sd_log10":"1","runs":20,"source":"own runs","edition":"1","adopted_by":"lead","adopted":1000}`,
		},
		{
			&quality.Rules{Use: quality.MultiRules, WarningFirst: true, AcrossLevels: true, Required: []quality.ControlKind{quality.Blank}},
			`{"use":["1-2s","1-3s","2-2s","R-4s","4-1s","10-x"],"warning_first":true,"across_levels":true,"required":["blank"]}`,
		},
		{&quality.Policy{Every: 28_800_000_000}, `{"every":"8h"}`},
		{&quality.Policy{SameDay: true}, `{"same_day":true}`},
		{
			&quality.Verdict{
				Meter: "M", At: 2, From: 1, Outcome: quality.Rejected,
				Hits: []quality.Hit{{Rule: quality.OneThree, Points: quality.RandomError, Why: "w"}}, Why: "x", Next: "y",
			},
			`{"meter":"M","from":1,"at":2,"controls":null,"outcome":"rejected",` +
				`"hits":[{"rule":"1-3s","controls":null,"points_to":"random","why":"w"}],"why":"x","next":"y"}`,
		},
		{&quality.Suspect{ID: "r", At: 3, Failed: 4, Why: "w"}, `{"id":"r","at":3,"failed":4,"why":"w"}`},
		{&quality.State{Condition: quality.Unchecked, Why: "w"}, `{"condition":"unchecked","why":"w"}`},
		{
			new(quality.DefaultPlan()),
			`{"margin":"1.25","alpha":"0.05","power":"0.9","confidence":"0.95","min_pairs":20,"most_pairs":200}`,
		},
		{&quality.Pair{Sample: "S", Old: 1, New: 2}, `{"sample":"S","old":"1","new":"2"}`},
	}
	for _, test := range tests {
		text := string(must[[]byte](t)(json.Marshal(test.value)))
		if text != test.want {
			t.Errorf("got  %s\nwant %s", text, test.want)
		}
		back := reflect.New(reflect.TypeOf(test.value).Elem())
		if err := json.Unmarshal([]byte(text), back.Interface()); err != nil || !reflect.DeepEqual(back.Interface(), test.value) {
			t.Errorf("%s reads back as %+v, %v", text, back.Elem(), err)
		}
	}
}
