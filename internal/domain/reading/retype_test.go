package reading_test

import (
	"testing"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

func TestRetype(t *testing.T) {
	t.Parallel()
	usual := []unit.Number{30, 25, 40, 35, 28}
	for _, c := range []struct {
		reason string
		j      reading.Judgement
		usual  []unit.Number
		want   string
	}{
		{"an ordinary value", reading.Judgement{Judged: reading.Value{Number: 33}}, usual, ""},
		{"a level is near", reading.Judgement{Near: true, Judged: reading.Value{Number: 33}}, usual, "it is near a level"},
		{"exactly tenfold", reading.Judgement{Judged: reading.Value{Number: 300}}, usual, "usual here is about 30"},
		{"just under tenfold", reading.Judgement{Judged: reading.Value{Number: 299}}, usual, ""},
		{"a digit is missing", reading.Judgement{Judged: reading.Value{Number: 3}}, usual, "usual here is about 30"},
		{"nothing is usual yet", reading.Judgement{Judged: reading.Value{Number: 9000}}, usual[:4], ""},
		{"zero after single digits", reading.Judgement{Judged: reading.Value{Number: 0}}, []unit.Number{2, 3, 1, 4, 2}, ""},
		{"a strip has no number", reading.Judgement{Judged: reading.Value{Word: "clean"}}, usual, ""},
	} {
		if got := reading.Retype(c.j, c.usual); got != c.want {
			t.Errorf("%s: got %q, want %q", c.reason, got, c.want)
		}
	}
}
