package kit

import (
	"context"
	"fmt"
	"runtime/debug"
	"slices"
	"strconv"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"

	"rinsate/internal/base/unit"
)

// Cache keeps what takes longer to find out than a page should take, by what was asked and the size of the
// ledger: a page that is opened again is there at once, and as soon as something was recorded it is found
// out anew. Whoever asks what is being found out waits for that answer. Errors are not kept.
//
// The zero value keeps nothing but lets those who ask the same at once share an answer.
type Cache struct {
	// Most is how many answers are kept; the one that was asked for longest ago goes first.
	Most int
	// Span is for how long an answer is kept while nothing is recorded; zero for as long as nothing is.
	Span time.Duration
	// worth says which answers are kept; nil for all.
	worth func(any) bool

	flight singleflight.Group
	mu     sync.Mutex
	kept   map[string]keptAnswer
	// order are the questions, the one asked last at the end.
	order []string
}

// keptAnswer is an answer with the size of the ledger that it was asked at, and when.
type keptAnswer struct {
	size  int64
	at    unit.Instant
	value any
}

// Question is what somebody asks of a cache.
type Question struct {
	// Text tells it from all other questions to the same cache.
	Text string
	// Size is that of the ledger when it was asked: the answer holds at least what was recorded by then.
	Size int64
	// At is when it was asked; of no use to a cache that keeps answers for any time.
	At unit.Instant
}

// answerTime is how long finding something out may take.
const answerTime = 5 * time.Minute

// Ask answers a question with what is kept or with what compute finds out. That goes on when nobody waits
// any more, so that whoever comes back finds it and whoever else has asked is not let down. The answer is
// shared: nobody changes it.
func Ask[T any](ctx context.Context, c *Cache, q Question, compute func(context.Context) (T, error)) (T, error) {
	var none T
	value, ok := c.find(q)
	if ok {
		return value.(T), nil //nolint:forcetypeassert // a question has answers of one type
	}
	answered := c.flight.DoChan(strconv.FormatInt(q.Size, 10)+" "+q.Text, func() (any, error) {
		if value, ok := c.find(q); ok { // found out between the look and now
			return value, nil
		}
		long, stop := context.WithTimeout(context.WithoutCancel(ctx), answerTime)
		defer stop()
		value, err := caught(long, compute)
		if err == nil {
			c.Keep(q, value)
		}
		return value, err
	})
	select {
	case a := <-answered:
		if a.Err != nil {
			return none, a.Err
		}
		return a.Val.(T), nil //nolint:forcetypeassert // as above
	case <-ctx.Done():
		return none, ctx.Err()
	}
}

// caught computes; a panic becomes an error, since no request's own guard stands around what goes on
// beside it.
func caught[T any](ctx context.Context, compute func(context.Context) (T, error)) (value T, err error) {
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("panic: %v\n%s", fault, debug.Stack())
		}
	}()
	return compute(ctx)
}

// Latest returns the last answer that was kept to a question, whatever was recorded since, and whether there
// is one.
func Latest[T any](c *Cache, text string) (value T, ok bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if kept, there := c.kept[text]; there {
		value, ok = kept.value.(T)
	}
	return value, ok
}

// find returns the answer to a question if it is kept and still holds.
func (c *Cache) find(q Question) (any, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	kept, ok := c.kept[q.Text]
	if !ok || kept.size != q.Size || c.Span > 0 && (q.At < kept.at || q.At.Sub(kept.at) >= c.Span) {
		return nil, false
	}
	c.touch(q.Text)
	return kept.value, true
}

// Keep keeps an answer, unless one is kept that knows more.
func (c *Cache) Keep(q Question, value any) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.Most == 0 || c.worth != nil && !c.worth(value) {
		return
	}
	if kept, ok := c.kept[q.Text]; ok && kept.size > q.Size {
		return
	}
	if c.kept == nil {
		c.kept = map[string]keptAnswer{}
	}
	c.kept[q.Text] = keptAnswer{q.Size, q.At, value}
	c.touch(q.Text)
	for len(c.order) > c.Most {
		delete(c.kept, c.order[0])
		c.order = c.order[1:]
	}
}

// touch makes a question the one asked last.
func (c *Cache) touch(text string) {
	c.order = append(slices.DeleteFunc(c.order, func(t string) bool { return t == text }), text)
}

// Forget forgets all answers.
func (c *Cache) Forget() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.kept, c.order = nil, nil
}
