package dashboard

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"
)

// What took longer than slowAnswer to find is given as it was for keptShare times as
// long, so that no more than that part of a processor goes into it. Then it is found
// anew behind the reader's back, and given as it was meanwhile: no longer than keptFor,
// or twice that time. House values.
const (
	slowAnswer = 20 * time.Millisecond
	keptFor    = 5 * time.Minute
	keptShare  = 20
)

// behindRest is how long the server rests after it found an answer behind a reader's
// back, times what that took, whichever answer comes next: many of them together
// would else leave readers no processor. House value.
const behindRest = 9

// maxKept is how many answers of a kind are remembered.
const maxKept = 64

// kept remembers what questions about the fleet came to. The same question about the
// same data is answered from memory; about other data it is found anew, but for what
// takes long. What finds it reads the fleet in memory and nothing else, so that the
// end of the server needn't wait for it.
type kept[V any] struct {
	*behind
	max int
	// lately is how long it took to find the last answers, the mean of which each has
	// as much weight as all before it.
	lately atomic.Int64

	mu    sync.Mutex
	all   map[string]*keptAnswer[V]
	asked int // how often
}

// keptAnswer is what one question came to. Its first finder is waited for.
type keptAnswer[V any] struct {
	turn   chan struct{} // has one place: a lock that a test with its own clock can wait for
	found  bool
	data   string // fingerprint of the data it is of
	value  V
	at     time.Time
	tried  time.Time // found, or failed to be found anew
	took   time.Duration
	asking bool // found anew, behind a reader's back

	last int // when it was last asked for, by kept.asked; guarded by kept.mu
}

// behind is what the answers of a server that are found behind readers' backs have in
// common: they are found one at a time.
type behind struct {
	log     *slog.Logger
	now     func() time.Time
	one     chan struct{} // has one place, of who finds an answer
	waiting *waiting

	lock sync.Mutex
	busy bool
	rest time.Time // until when none is begun anew
}

func newBehind(log *slog.Logger, now func() time.Time, waiting *waiting) *behind {
	return &behind{log: log, now: now, one: make(chan struct{}, 1), waiting: waiting}
}

// wait waits until an answer may be found that takes long; end is to be called when it
// is. Who leaves meanwhile gets the context's error.
func (b *behind) wait(ctx context.Context) (end func(), err error) {
	select {
	case b.one <- struct{}{}:
		return func() { <-b.one }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// begin says whether an answer may be found now; then end is to be told how long it
// took.
func (b *behind) begin() bool {
	b.lock.Lock()
	defer b.lock.Unlock()
	if b.busy || b.now().Before(b.rest) {
		return false
	}
	b.busy = true
	return true
}

func (b *behind) end(took time.Duration) {
	b.lock.Lock()
	defer b.lock.Unlock()
	b.busy, b.rest = false, b.now().Add(behindRest*took)
}

func newKept[V any](b *behind, size int) *kept[V] {
	return &kept[V]{behind: b, max: size, all: map[string]*keptAnswer[V]{}}
}

// of returns the answer to a question, empty where it is new.
func (k *kept[V]) of(question string) *keptAnswer[V] {
	k.mu.Lock()
	defer k.mu.Unlock()
	a := k.all[question]
	if a == nil {
		if len(k.all) >= k.max {
			k.forget()
		}
		a = &keptAnswer[V]{turn: make(chan struct{}, 1)}
		k.all[question] = a
	}
	k.asked++
	a.last = k.asked
	return a
}

// forget lets go of the answer that was not asked for the longest.
func (k *kept[V]) forget() {
	oldest, at := "", k.asked+1
	for question, a := range k.all {
		if a.last < at {
			oldest, at = question, a.last
		}
	}
	delete(k.all, oldest)
}

// get returns what a question comes to of the data with a fingerprint. Failures are
// not remembered. The value is every asker's: it is not to be changed.
func (k *kept[V]) get(question, data string, find func() (V, error)) (V, error) {
	at := func(context.Context) (func(), error) { return func() {}, nil }
	return k.found(context.Background(), k.of(question), data, find, at)
}

// found is get of an answer that may be there; begin is called before it is found, and
// returns what is to be called then. Who leaves before it is begun gets the context's
// error.
func (k *kept[V]) found(ctx context.Context, a *keptAnswer[V], data string, find func() (V, error), begin func(context.Context) (end func(), err error)) (V, error) {
	var none V
	select {
	case a.turn <- struct{}{}:
	case <-ctx.Done():
		return none, ctx.Err()
	}
	defer func() { <-a.turn }()
	if k.holds(a, data, find) {
		return a.value, nil
	}
	end, err := begin(ctx)
	if err != nil {
		return none, err
	}
	defer end()
	value, took, err := k.timed(find)
	if err == nil {
		a.set(data, value, k.now(), took)
	}
	return value, err
}

// holds says whether the answer that there is may be given, and sees to it that one of
// other data is found anew. The turn is the caller's.
func (k *kept[V]) holds(a *keptAnswer[V], data string, find func() (V, error)) bool {
	if !a.found || a.data == data {
		return a.found
	}
	now, rest := k.now(), keptShare*a.took
	if a.took <= slowAnswer || now.Sub(a.at) >= max(keptFor, 2*rest) {
		return false
	}
	if !a.asking && now.Sub(a.tried) >= rest && k.begin() {
		a.asking = true
		go k.again(a, data, find)
	}
	return true
}

// soon is get of what takes long, for a page that can be shown without it: it waits no
// longer than a while, 0 for as long as it takes, and says whether it has the answer. It
// doesn't wait in vain: where answers of the kind took longer lately, or another has to
// be found first. Then it is left to who asks for the rest of the page; what was waited
// for is found all the same.
func (k *kept[V]) soon(ctx context.Context, question, data string, within time.Duration, find func() (V, error)) (V, bool, error) {
	var none V
	a := k.of(question)
	select {
	case a.turn <- struct{}{}:
		holds, value := k.holds(a, data, find), a.value
		if <-a.turn; holds {
			return value, true, nil
		}
	default: // it is being found
	}
	if within > 0 && (len(k.one) > 0 || time.Duration(k.lately.Load()) > within) {
		return none, false, nil
	}
	k.waiting.leave() // what is found doesn't rest for who waits for it
	defer k.waiting.come()
	if within == 0 {
		value, err := k.found(ctx, a, data, find, k.wait)
		return value, true, err
	}
	type answer struct {
		value V
		err   error
	}
	done := make(chan answer, 1)
	go func() {
		value, err := k.found(context.Background(), a, data, guarded(find), k.wait)
		done <- answer{value, err}
	}()
	select {
	case found := <-done:
		return found.value, true, found.err
	case <-time.After(within):
		return none, false, nil
	}
}

// guarded is what finds an answer where no request is there to answer for a panic.
func guarded[V any](find func() (V, error)) func() (V, error) {
	return func() (value V, err error) {
		defer func() {
			if v := recover(); v != nil {
				err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
			}
		}()
		return find()
	}
}

// again finds an answer anew while nobody waits for it. What fails is noted, and
// asked again by the next reader.
func (k *kept[V]) again(a *keptAnswer[V], data string, find func() (V, error)) {
	end, _ := k.wait(context.Background())
	value, took, err := k.timed(guarded(find))
	end()
	k.end(took)
	a.turn <- struct{}{}
	defer func() { <-a.turn }()
	a.asking, a.tried = false, k.now()
	if err != nil {
		k.log.Error("an answer about the fleet was not found anew", "err", err)
		return
	}
	a.set(data, value, k.now(), took)
}

// timed finds an answer and how long that took, by the clock: where it stands still,
// as in tests, nothing is kept that was found of other data.
func (k *kept[V]) timed(find func() (V, error)) (V, time.Duration, error) {
	begin := k.now()
	value, err := find()
	took := k.now().Sub(begin)
	k.lately.Store((k.lately.Load() + int64(took)) / 2)
	return value, took, err
}

func (a *keptAnswer[V]) set(data string, value V, at time.Time, took time.Duration) {
	a.found, a.data, a.value, a.at, a.tried, a.took = true, data, value, at, at, took
}
