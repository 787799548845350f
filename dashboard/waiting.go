package dashboard

import (
	"sync"
	"time"

	memory "solewright/reports/fleet"
)

// What is done behind people's backs rests while somebody waits who came no longer ago
// than restFor, for who came before waits for much; and no longer than restStep at a
// time, so that it comes to its end where there is always somebody. House values.
const (
	restFor  = 100 * time.Millisecond
	restStep = 10 * time.Millisecond
)

// waiting is who waits for an answer of the server.
type waiting struct {
	now func() time.Time

	mu   sync.Mutex
	n    int
	last time.Time     // when the last of them came
	none chan struct{} // closed when nobody waits any more
}

// come notes that somebody waits.
func (w *waiting) come() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.n == 0 {
		w.none = make(chan struct{})
	}
	w.n++
	w.last = w.now()
}

// leave notes that somebody doesn't wait any more, or waits for what takes long.
func (w *waiting) leave() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.n--; w.n == 0 {
		close(w.none)
	}
}

// rest returns when nobody waits who came just now, or after a step.
func (w *waiting) rest() {
	w.mu.Lock()
	n, last, none := w.n, w.last, w.none
	w.mu.Unlock()
	if n == 0 || w.now().Sub(last) >= restFor {
		return
	}
	step := time.NewTimer(restStep)
	defer step.Stop()
	select {
	case <-none:
	case <-step.C:
	}
}

// quietly returns the fleet for questions whose answers take long: they rest while
// others wait.
func (s *Server) quietly(v *memory.View) *memory.View { return v.Quietly(s.waiting.rest) }
