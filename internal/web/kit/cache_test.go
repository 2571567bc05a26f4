package kit

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// counting finds out how often it was asked before.
func counting() func(context.Context) (int, error) {
	count := 0
	return func(context.Context) (int, error) {
		count++
		return count, nil
	}
}

// An answer is found out once for a size of the ledger and a question. As many are kept as there may be, and
// the one asked for longest ago goes first; after something was recorded it is found out anew.
func TestCacheKeeps(t *testing.T) {
	c := &Cache{Most: 2}
	compute := counting()
	for i, step := range []struct {
		size int64
		text string
		want int
	}{
		{1, "a", 1},
		{1, "a", 1},
		{1, "b", 2},
		{1, "a", 1},
		{1, "c", 3},
		{1, "a", 1},
		{1, "b", 4}, // b had to go for c
		{2, "b", 5},
		{1, "b", 6},
		{2, "b", 5}, // what was asked before something was recorded is not kept
	} {
		got, err := Ask(t.Context(), c, Question{Text: step.text, Size: step.size}, compute)
		if err != nil || got != step.want {
			t.Errorf("step %d: %d, %v; want %d", i+1, got, err, step.want)
		}
	}
	if len(c.kept) != 2 || len(c.order) != 2 {
		t.Errorf("%d answers to %d questions are kept, want 2", len(c.kept), len(c.order))
	}
	c.Forget()
	if got, err := Ask(t.Context(), c, Question{Text: "b", Size: 2}, compute); err != nil || got != 7 {
		t.Errorf("after all was forgotten: %d, %v", got, err)
	}
}

// Without room nothing is kept.
func TestCacheWithoutRoom(t *testing.T) {
	c, compute := &Cache{}, counting()
	for want := 1; want <= 2; want++ {
		if got, err := Ask(t.Context(), c, Question{Text: "a"}, compute); err != nil || got != want {
			t.Errorf("%d, %v; want %d", got, err, want)
		}
	}
}

// An answer that holds for a time is found out anew at its end, and when the clock was set back.
func TestCacheSpan(t *testing.T) {
	c, compute := &Cache{Most: 1, Span: 10 * time.Second}, counting()
	const start = 1_700_000_000_000_000
	for _, step := range []struct {
		after time.Duration
		want  int
	}{{0, 1}, {10*time.Second - time.Microsecond, 1}, {10 * time.Second, 2}, {19 * time.Second, 2}, {9 * time.Second, 3}} {
		at := Question{Text: "a", At: start}
		at.At = at.At.Add(step.after)
		if got, err := Ask(t.Context(), c, at, compute); err != nil || got != step.want {
			t.Errorf("after %s: %d, %v; want %d", step.after, got, err, step.want)
		}
	}
}

// Only what is worth it is kept.
func TestCacheWorth(t *testing.T) {
	c, compute := &Cache{Most: 1, worth: func(v any) bool { return v == 2 }}, counting()
	for i, want := range []int{1, 2, 2} {
		if got, err := Ask(t.Context(), c, Question{Text: "a"}, compute); err != nil || got != want {
			t.Errorf("asked %d times: %d, %v; want %d", i+1, got, err, want)
		}
	}
}

// An error is told and not kept, and so is a panic: it would end the program.
func TestCacheKeepsNoErrors(t *testing.T) {
	c := &Cache{Most: 1}
	q := Question{Text: "a"}
	if _, err := Ask(t.Context(), c, q, func(context.Context) (int, error) { return 0, io.EOF }); !errors.Is(err, io.EOF) {
		t.Errorf("error %v", err)
	}
	if _, err := Ask(
		t.Context(),
		c,
		q,
		func(context.Context) (int, error) { panic("no such scope") },
	); err == nil ||
		!strings.Contains(err.Error(), "no such scope") {
		t.Errorf("after a panic: %v", err)
	}
	if got, err := Ask(t.Context(), c, q, counting()); err != nil || got != 1 {
		t.Errorf("after errors: %d, %v", got, err)
	}
}

// Who asks while an answer is found out shares it, and who leaves takes it from nobody.
func TestCacheIsShared(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &Cache{Most: 1}
		q := Question{Text: "slow", Size: 3}
		release := make(chan struct{})
		times := 0
		slow := func(ctx context.Context) (int, error) {
			times++
			<-release
			return 42, ctx.Err()
		}
		type answer struct {
			value int
			err   error
		}
		asked := func(ctx context.Context) <-chan answer {
			to := make(chan answer, 1)
			go func() {
				v, err := Ask(ctx, c, q, slow)
				to <- answer{v, err}
			}()
			return to
		}
		impatient, leave := context.WithCancel(t.Context())
		first := asked(impatient)
		synctest.Wait()
		others := []<-chan answer{asked(t.Context()), asked(t.Context())}
		synctest.Wait()
		leave()
		if got := <-first; !errors.Is(got.err, context.Canceled) {
			t.Errorf("who left got %+v", got)
		}
		close(release)
		for i, to := range others {
			if got := <-to; got != (answer{value: 42}) {
				t.Errorf("asker %d got %+v", i+2, got)
			}
		}
		if got := <-asked(t.Context()); got != (answer{value: 42}) || times != 1 {
			t.Errorf("who came later got %+v; it was found out %d times", got, times)
		}
	})
}

// What was found out last is there without waiting, also when something was recorded since.
func TestCacheLatest(t *testing.T) {
	c := &Cache{Most: 1}
	if got, ok := Latest[string](c, "series"); ok {
		t.Errorf("before the first time: %q", got)
	}
	for size := range int64(3) {
		c.Keep(Question{Text: "series", Size: size}, fmt.Sprint("as of ", size))
	}
	c.Keep(Question{Text: "series", Size: 1}, "late")
	if got, ok := Latest[string](c, "series"); !ok || got != "as of 2" {
		t.Errorf("%q, %t", got, ok)
	}
}
