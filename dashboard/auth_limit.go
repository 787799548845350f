package dashboard

import (
	"sync"
	"time"

	"solewright/models"
)

// How many unknown, ended or revoked tokens an address may send within
// badTokenWindow, and how many addresses are counted at once. House values, as
// those of sign-in: a token can't be guessed, so this spares the database and
// the log a program that goes on with a token that has ended.
const (
	badTokenWindow = 15 * time.Minute
	badTokenLimit  = 60
	badTokenAddrs  = 8192
)

// badTokens counts the tokens that were refused, by the address they came from,
// in this server's memory.
type badTokens struct {
	now func() time.Time

	mu sync.Mutex
	of map[string]badCount
}

type badCount struct {
	n    int
	ends time.Time // of the window
}

func newBadTokens(now func() time.Time) *badTokens {
	return &badTokens{now: now, of: map[string]badCount{}}
}

// check fails with models.TooMany while an address is past its limit.
func (b *badTokens) check(addr string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	c, now := b.of[addr], b.now()
	if c.n < badTokenLimit || !now.Before(c.ends) {
		return nil
	}
	return &models.TooMany{Wait: c.ends.Sub(now)}
}

// add counts a token that was refused.
func (b *badTokens) add(addr string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	now := b.now()
	c, known := b.of[addr]
	if !known && len(b.of) >= badTokenAddrs {
		for a, old := range b.of {
			if !now.Before(old.ends) {
				delete(b.of, a)
			}
		}
		if len(b.of) >= badTokenAddrs {
			clear(b.of) // so many at once are not held off by counting them
		}
	}
	if !now.Before(c.ends) {
		c = badCount{ends: now.Add(badTokenWindow)}
	}
	c.n++
	b.of[addr] = c
}
