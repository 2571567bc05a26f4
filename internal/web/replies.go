package web

import (
	"context"
	"slices"
	"sync"
	"time"
)

// replies keeps what takes longer to compute than a page should take, by the size of the ledger and the
// question: a page that is opened again is there at once, and as soon as something was recorded it is
// computed anew. Whoever asks while an answer is being computed waits for that one.
type replies struct {
	// most is how many answers are kept.
	most int
	mu   sync.Mutex
	size int64
	kept map[string]*pending
	// order are the questions, the one asked last at the end.
	order []string
}

// pending is an answer that is there once done is closed.
type pending struct {
	done  chan struct{}
	value any
	err   error
}

// answerTime is how long an answer may take.
const answerTime = 5 * time.Minute

// ask returns the answer to a question at a size of the ledger. What is computed goes on when nobody waits
// any more, so that whoever comes back finds it. Errors are not kept.
func (a *replies) ask(ctx context.Context, size int64, question string, compute func(context.Context) (any, error)) (any, error) {
	p, fresh := a.find(size, question)
	if fresh {
		go func() {
			long, stop := context.WithTimeout(context.WithoutCancel(ctx), answerTime)
			defer stop()
			p.value, p.err = compute(long)
			if p.err != nil {
				a.drop(question, p)
			}
			close(p.done)
		}()
	}
	select {
	case <-p.done:
		return p.value, p.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// find returns the place of an answer; fresh says that it has to be computed.
func (a *replies) find(size int64, question string) (p *pending, fresh bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.kept == nil || size > a.size {
		a.size, a.kept, a.order = size, map[string]*pending{}, nil
	}
	if size < a.size { // asked before something was recorded: too old to be kept
		return &pending{done: make(chan struct{})}, true
	}
	p, ok := a.kept[question]
	if !ok {
		p, fresh = &pending{done: make(chan struct{})}, true
		a.kept[question] = p
	}
	a.order = append(slices.DeleteFunc(a.order, func(q string) bool { return q == question }), question)
	if len(a.order) > a.most {
		delete(a.kept, a.order[0])
		a.order = a.order[1:]
	}
	return p, fresh
}

// drop forgets an answer.
func (a *replies) drop(question string, p *pending) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.kept[question] == p {
		delete(a.kept, question)
		a.order = slices.DeleteFunc(a.order, func(q string) bool { return q == question })
	}
}

// answered is replies.ask for an answer of one type.
func answered[T any](ctx context.Context, a *replies, size int64, question string, compute func(context.Context) (T, error)) (T, error) {
	value, err := a.ask(ctx, size, question, func(ctx context.Context) (any, error) { return compute(ctx) })
	if err != nil {
		var none T
		return none, err
	}
	return value.(T), nil //nolint:forcetypeassert // compute made it
}
