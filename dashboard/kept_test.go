package dashboard

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func TestWhatIsKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var logged bytes.Buffer
		b := newBehind(slog.New(slog.NewTextHandler(&logged, nil)), time.Now, &waiting{now: time.Now})
		k := newKept[int](b, 2)
		const longAnswer = 10 * slowAnswer
		asked := 0
		quick := func() (int, error) { asked++; return asked, nil }
		long := func() (int, error) { time.Sleep(2 * longAnswer); return quick() }
		// says asks, and checks whether it was waited for.
		says := func(question, data string, find func() (int, error), want int, waits time.Duration) {
			t.Helper()
			begin := time.Now()
			got, err := k.get(question, data, find)
			if took := time.Since(begin); err != nil || got != want || took != waits {
				t.Errorf("%s of %s is %d after %v, %v; want %d after %v", question, data, got, took, err, want, waits)
			}
		}
		never := func() (int, error) { panic("it is asked") }

		// The same question about the same data is found once.
		says("q", "1", quick, 1, 0)
		says("q", "1", never, 1, 0)
		// About other data it is found anew.
		says("q", "2", quick, 2, 0)
		says("q", "1", quick, 3, 0)

		// A failure isn't kept, and leaves nobody waiting.
		if _, err := k.get("f", "1", func() (int, error) { return 0, errors.New("no") }); err == nil {
			t.Error("no failure")
		}
		func() {
			defer func() {
				if recover() == nil {
					t.Error("a panic doesn't reach who asked")
				}
			}()
			_, _ = k.get("f", "1", never)
		}()
		says("f", "1", quick, 4, 0)

		// No more are kept than may be: the one that was not asked for the longest goes.
		says("long", "1", long, 5, 2*longAnswer)
		if len(k.all) != 2 || k.all["f"] == nil || k.all["long"] == nil {
			t.Errorf("%d are kept of 2: %v", len(k.all), k.all)
		}

		// What took long is given as it was, and found anew behind the reader's back,
		// by one of those who ask, a while after it was found.
		says("long", "2", never, 5, 0)
		rest := func() { time.Sleep(2 * keptShare * longAnswer) }
		rest()
		says("long", "2", long, 5, 0)
		says("long", "2", never, 5, 0)
		time.Sleep(2 * longAnswer)
		synctest.Wait()
		says("long", "2", never, 6, 0)

		// What fails there, or panics, is noted; the next reader asks again.
		for _, fail := range []func() (int, error){func() (int, error) { return 0, errors.New("it is lost") }, never} {
			rest()
			says("long", "3", fail, 6, 0)
			synctest.Wait()
			says("long", "3", never, 6, 0)
		}
		if said := logged.String(); !strings.Contains(said, "it is lost") || !strings.Contains(said, "panic: it is asked") {
			t.Errorf("the log says %q", said)
		}
		rest()
		says("long", "3", long, 6, 0)
		time.Sleep(2 * longAnswer)
		synctest.Wait()
		says("long", "3", never, 7, 0)

		// But not for ever.
		time.Sleep(keptFor)
		says("long", "4", quick, 8, 0)

		// What takes many minutes is given for forty times as long.
		hour := func() (int, error) { time.Sleep(time.Hour); return quick() }
		says("hour", "1", hour, 9, time.Hour)
		time.Sleep(2*keptShare*time.Hour - time.Second)
		says("hour", "2", quick, 9, 0)
		synctest.Wait()
		says("hour", "2", never, 10, 0)

		// Behind readers' backs one is found at a time, and the next after a rest.
		k = newKept[int](b, 2)
		says("one", "1", long, 11, 2*longAnswer)
		says("two", "1", long, 12, 2*longAnswer)
		rest()
		says("one", "2", long, 11, 0)
		says("two", "2", never, 12, 0)
		time.Sleep(2 * longAnswer)
		synctest.Wait()
		says("one", "2", never, 13, 0)
		says("two", "2", never, 12, 0)
		time.Sleep(2 * behindRest * longAnswer)
		says("two", "2", quick, 12, 0)
		synctest.Wait()
		says("two", "2", never, 14, 0)
	})
}

func TestAPageIsShownWithoutWhatTakesLong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := newKept[int](newBehind(slog.New(slog.DiscardHandler), time.Now, &waiting{now: time.Now}), 2)
		const within = time.Second
		times := 0
		find := func() (int, error) { times++; time.Sleep(3 * within); return 7, nil }
		says := func(within time.Duration, want int, wantReady bool, waits time.Duration) {
			t.Helper()
			begin := time.Now()
			got, ready, err := k.soon(t.Context(), "q", "1", within, find)
			if took := time.Since(begin); got != want || ready != wantReady || err != nil || took != waits {
				t.Errorf("it is %d, ready %t, after %v, %v; want %d, %t, after %v", got, ready, took, err, want, wantReady, waits)
			}
		}
		says(within, 0, false, within)
		says(within, 0, false, 0)  // who asks meanwhile doesn't wait
		says(0, 7, true, 2*within) // but for who waits until it is found
		says(within, 7, true, 0)
		if times != 1 {
			t.Errorf("it was found %d times", times)
		}

		// Where such answers take longer lately a page doesn't wait, and it is left to who
		// asks for the rest of it.
		never := func() (int, error) { panic("it is asked") }
		if _, ready, _ := k.soon(t.Context(), "r", "1", within, never); ready {
			t.Error("what takes long is ready")
		}
		synctest.Wait()
		for i, question := range []string{"r", "s"} { // then one that took no time
			begin, within := time.Now(), within*time.Duration(i)
			if got, ready, err := k.soon(t.Context(), question, "1", within, func() (int, error) { return 8, nil }); got != 8 || !ready || err != nil || time.Since(begin) != 0 {
				t.Errorf("%s is %d, ready %t, after %v, %v", question, got, ready, time.Since(begin), err)
			}
		}

		// What takes long is found one after the other, and not for who left meanwhile.
		begin := time.Now()
		if _, ready, _ := k.soon(t.Context(), "one", "1", within, find); ready {
			t.Error("one is ready")
		}
		if _, ready, _ := k.soon(t.Context(), "two", "1", within, never); ready || time.Since(begin) != within {
			t.Errorf("two is ready %t after %v", ready, time.Since(begin))
		}
		ctx, leave := context.WithTimeout(t.Context(), within)
		defer leave()
		if _, _, err := k.soon(ctx, "two", "1", 0, never); !errors.Is(err, context.DeadlineExceeded) || time.Since(begin) != 2*within {
			t.Errorf("who left two gets %v after %v", err, time.Since(begin))
		}
		if got, _, err := k.soon(t.Context(), "two", "1", 0, find); got != 7 || err != nil || time.Since(begin) != 6*within {
			t.Errorf("two is %d after %v, %v", got, time.Since(begin), err)
		}
		fails := newKept[int](newBehind(slog.New(slog.DiscardHandler), time.Now, &waiting{now: time.Now}), 2)
		for _, fail := range []func() (int, error){func() (int, error) { return 0, errors.New("it is lost") }, func() (int, error) { panic("it is lost") }} {
			if _, ready, err := fails.soon(t.Context(), "f", "1", within, fail); !ready || err == nil || !strings.Contains(err.Error(), "it is lost") {
				t.Errorf("a failure is ready %t, %v", ready, err)
			}
		}
	})
}

func TestWhoAsksTheServerIsSeenToWait(t *testing.T) {
	r := newRig(t)
	r.sees("/fleet")
	if w := r.waiting; w.n != 0 || w.last.IsZero() {
		t.Errorf("after a page %d wait, the last since %v", w.n, w.last)
	}
}

// TestWhoWaitsGoesFirst has work behind people's backs rest while somebody waits, no
// longer than a step and not for who waits long.
func TestWhoWaitsGoesFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := &waiting{now: time.Now}
		rests := func(want time.Duration) {
			t.Helper()
			begin := time.Now()
			if w.rest(); time.Since(begin) != want {
				t.Errorf("it rests %v, want %v", time.Since(begin), want)
			}
		}
		rests(0)
		w.come()
		w.come()
		rests(restStep)
		w.leave()
		go func() {
			time.Sleep(restStep / 2)
			w.leave()
		}()
		rests(restStep / 2)
		rests(0)
		w.come()
		time.Sleep(restFor)
		rests(0)
		w.come() // another, just now
		rests(restStep)
	})
}
