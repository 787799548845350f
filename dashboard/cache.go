package dashboard

import (
	"sync"
	"time"
)

// cacheFor is how long an answer about an account, a token or the catalogue is
// believed without asking again.
const cacheFor = 30 * time.Second

// cache remembers what load found, each value for cacheFor and at most max of
// them. Failures are not remembered.
type cache[K comparable, V any] struct {
	now func() time.Time
	max int

	mu sync.RWMutex
	m  map[K]cached[V]
}

type cached[V any] struct {
	v     V
	until time.Time
}

func newCache[K comparable, V any](now func() time.Time, size int) *cache[K, V] {
	return &cache[K, V]{now: now, max: size, m: map[K]cached[V]{}}
}

// get returns the value of k, by load unless a fresh one is remembered. Two
// callers may load the same key at once; both get a right answer.
func (c *cache[K, V]) get(k K, load func() (V, error)) (V, error) {
	now := c.now()
	c.mu.RLock()
	e, ok := c.m[k]
	c.mu.RUnlock()
	if ok && now.Before(e.until) {
		return e.v, nil
	}
	v, err := load()
	if err != nil {
		return v, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.m) >= c.max {
		clear(c.m) // full: begin anew, which costs one load a key
	}
	c.m[k] = cached[V]{v, now.Add(cacheFor)}
	return v, nil
}

// forget drops what is remembered of k.
func (c *cache[K, V]) forget(k K) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.m, k)
}
