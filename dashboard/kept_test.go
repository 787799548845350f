package dashboard

import (
	"errors"
	"testing"
	"time"
)

func TestWhatIsKept(t *testing.T) {
	now := time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC)
	k := newKept[int](func() time.Time { return now }, 2)
	asked := 0
	get := func(question, data string) int {
		t.Helper()
		n, err := k.get(question, data, func() (int, error) { asked++; return asked, nil })
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	t.Run("the same question about the same data is found once", func(t *testing.T) {
		if a, b := get("q", "1"), get("q", "1"); a != b || asked != 1 {
			t.Errorf("%d and %d, asked %d times", a, b, asked)
		}
	})
	t.Run("about other data it is found anew", func(t *testing.T) {
		if a, b := get("q", "2"), get("q", "1"); a != 2 || b != 3 {
			t.Errorf("%d and %d", a, b)
		}
	})
	t.Run("a failure isn't kept", func(t *testing.T) {
		if _, err := k.get("f", "1", func() (int, error) { return 0, errors.New("no") }); err == nil {
			t.Error("no failure")
		}
		if got := get("f", "1"); got != 4 {
			t.Errorf("%d", got)
		}
	})
	t.Run("what took long is given as it was, and found anew behind the reader's back", func(t *testing.T) {
		get("slow", "1")
		a := k.all["slow"]
		a.took = 2 * slowAnswer
		done := make(chan struct{})
		before := a.value
		got, err := k.get("slow", "2", func() (int, error) { defer close(done); return 99, nil })
		if err != nil || got != before {
			t.Errorf("%d, %v, want the %d from before", got, err, before)
		}
		<-done
		for fresh := false; !fresh; { // until it is noted
			a.mu.Lock()
			fresh = a.data == "2" && a.value == 99 && !a.asking
			a.mu.Unlock()
		}
		if got := get("slow", "2"); got != 99 {
			t.Errorf("%d", got)
		}
	})
	t.Run("but not for ever", func(t *testing.T) {
		k.all["slow"].took = 2 * slowAnswer
		now = now.Add(keptFor)
		if got := get("slow", "3"); got == 99 {
			t.Error("it is given an hour later")
		}
	})
}
