// Package e2e works the bench in a real browser against a real server and
// database: what a fitter does in a day, by touch and by keys, with the line
// up and down. It needs Chromium; without it the tests fail.
//
// How long a trade-in takes at the tablet is estimated by the keystroke-level
// model from the touches, letters and decisions of the scripted one. That is a
// model of a practised person who makes no mistake, not a person who was timed.
package e2e

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// patience bounds every wait: a loaded machine is slow, and a page that never
// comes must not hang a check.
const patience = time.Minute

// The tablet's two ways of standing, in CSS pixels of a 10.9-inch screen.
var landscape, portrait = [2]int64{1180, 820}, [2]int64{820, 1180}

// phone is the narrowest screen that the pages are made for, a manager's on the
// move.
var phone = [2]int64{390, 844}

// cssPixelsPerMM is how many CSS pixels a millimetre has on that screen: 264
// pixels an inch at two device pixels a CSS pixel.
const cssPixelsPerMM = 132 / 25.4

// started is the browser, once there is one.
var started context.Context

// chromium starts the one browser of all tests; it ends with them. It runs scripts
// and the engine as they come, for compilers that make fast code of what runs often
// take a third of the processor here, where little does.
var chromium = sync.OnceValues(func() (_ context.Context, err error) {
	started, err = launch(chromedp.Flag("js-flags", "--no-opt --no-maglev --liftoff-only"))
	return started, err
})

// launch starts a browser.
func launch(more ...chromedp.ExecAllocatorOption) (context.Context, error) {
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.NoSandbox,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
	)
	// The same engine without the windows, menus and tab strip nobody sees here,
	// which take half of the processor.
	if shell, err := exec.LookPath("chromium-headless-shell"); err == nil {
		options = append(options, chromedp.ExecPath(shell))
	}
	allocator, _ := chromedp.NewExecAllocator(context.Background(), append(options, more...)...)
	ctx, _ := chromedp.NewContext(allocator)
	return ctx, chromedp.Do(ctx)
}

// browser is one tab in a profile of its own, as on a tablet that is new. It has
// no worker that keeps the pages for when the line is down, but where newTablet opens
// it: to keep them is a seventh of what the tests of the bench cost. It
// remembers what the page complained of, and fails the test with it.
type browser struct {
	t   *testing.T
	ctx context.Context

	mu     sync.Mutex
	said   []string
	silent bool // a line that is down complains on purpose
	taps   int
	// touches are the taps by where they fell, typed the letters that were written.
	touches []touch
	typed   int
}

func newBrowser(t *testing.T, size [2]int64) *browser {
	t.Helper()
	b := newTablet(t, size)
	if _, err := chromedp.Call(b.ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: `Object.defineProperty(Navigator.prototype, "serviceWorker", { value: undefined })`,
	}); err != nil {
		t.Fatal(err)
	}
	return b
}

// newTablet opens a tab whose pages are kept for when the line is down.
func newTablet(t *testing.T, size [2]int64) *browser {
	t.Helper()
	parent, err := chromium()
	if err != nil {
		t.Fatalf("starting Chromium: %v", err)
	}
	return newTab(t, parent, size)
}

// newTab opens a tab in a profile of its own.
func newTab(t *testing.T, parent context.Context, size [2]int64) *browser {
	t.Helper()
	ctx, end := chromedp.NewContext(parent, chromedp.WithNewBrowserContext())
	t.Cleanup(end)
	b := &browser{t: t, ctx: ctx}
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("opening a tab: %v", err)
	}
	go func() {
		for message, err := range chromedp.Console(ctx) {
			if err != nil {
				return
			}
			b.hear(fmt.Sprint(message))
		}
	}()
	b.do(chromedp.EmulateViewport(size[0], size[1], chromedp.EmulateTouch))
	// Tests run beside one another, and each tab must believe that it is looked at.
	if _, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		if len(b.said) > 0 {
			t.Errorf("the page complained:\n%s", strings.Join(b.said, "\n"))
		}
		if t.Failed() {
			b.keepPicture(t.Name())
		}
	})
	return b
}

// hear keeps what the console says, but for what a page can't help.
func (b *browser) hear(message string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	// The bench asks whether an address is a stored reading's before it begins a
	// ticket there; that it isn't is the answer.
	if b.silent || strings.Contains(message, "404") {
		return
	}
	b.said = append(b.said, message)
}

// quiet says whether complaints are expected: the line is down.
func (b *browser) quiet(on bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.silent = on
}

// keepPicture writes what the screen shows under a name, where pictures are
// asked for.
func (b *browser) keepPicture(name string) {
	dir := os.Getenv("SOLEWRIGHT_TEST_PICTURES")
	if dir == "" {
		return
	}
	picture, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, strings.NewReplacer("/", "_", " ", "-").Replace(name)+".png"), picture, 0o644)
	}
	if err != nil {
		b.t.Logf("no picture: %v", err)
	}
}

func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// eval returns the value of an expression, waiting for a promise.
func eval[T any](b *browser, expression string) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// until waits for an expression to hold. The page may change while it is asked:
// what goes wrong then counts as not yet.
func (b *browser) until(expression string) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	ask := fmt.Sprintf(`new Promise((answer) => setTimeout(() => { try { answer(Boolean(%s)); } catch { answer(false); } }, 15))`, expression)
	for ctx.Err() == nil {
		if held, err := chromedp.Run(ctx, chromedp.Evaluate[bool](ask, chromedp.EvalAwaitPromise)); err == nil && held {
			return
		}
	}
	b.t.Fatalf("waited in vain for %s\nat %s the page says: %s", expression, eval[string](b, `location.href`), eval[string](b, `(document.body?.innerText ?? "").slice(0, 2000)`))
}

// open goes to an address and waits until the page works.
func (b *browser) open(url string) {
	b.t.Helper()
	b.do(chromedp.Navigate(url))
	b.ready()
}

func (b *browser) ready() {
	b.t.Helper()
	b.until(`document.readyState === "complete" && (!document.querySelector("script[type=module]") || !document.querySelector("#ticket-name, #unfinished") || document.querySelector("main[data-ready]"))`)
}

// tap touches the middle of the first element of a selector, once it can be
// touched there.
func (b *browser) tap(selector string) {
	b.t.Helper()
	b.until(fmt.Sprintf(`(() => {
		const e = document.querySelector(%q);
		if (!e || e.getAttribute("aria-disabled") === "true") return false;
		e.scrollIntoView({ block: "nearest" });
		const r = e.getBoundingClientRect(), hit = document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2);
		return r.width > 0 && (e === hit || e.contains(hit) || hit?.dataset.v !== undefined && hit.dataset.v === e.dataset.v);
	})()`, selector))
	at := eval[struct{ X, Y, Side float64 }](b, fmt.Sprintf(`(() => { const r = document.querySelector(%q).getBoundingClientRect(); return { X: r.x + r.width / 2, Y: r.y + r.height / 2, Side: Math.min(r.width, r.height) }; })()`, selector))
	b.do(chromedp.TapXY(at.X, at.Y))
	b.taps++
	b.touches = append(b.touches, touch{at.X, at.Y, at.Side})
}

// types types text into what has the focus.
func (b *browser) types(text string) {
	b.t.Helper()
	b.do(chromedp.KeyEvent(text))
	b.typed += len(text)
}

// key is the selector of the key that carries a name across redraws.
func key(name string) string { return fmt.Sprintf(`[data-k=%q]`, name) }

// write types text into a field that was touched.
func (b *browser) write(selector, text string) {
	b.t.Helper()
	b.tap(selector)
	b.types(text)
}

// rewrite types text in place of what a field holds.
func (b *browser) rewrite(selector, text string) {
	b.t.Helper()
	b.tap(selector)
	eval[bool](b, fmt.Sprintf(`(() => { document.querySelector(%q).select(); return true; })()`, selector))
	b.do(chromedp.KeyEvent(text))
}

// press presses keys, one after the other.
func (b *browser) press(keys ...string) {
	b.t.Helper()
	for _, k := range keys {
		b.do(chromedp.KeyEvent(k))
	}
}

// choose picks an option of a list as a touch on it would.
func (b *browser) choose(selector, value string) {
	b.t.Helper()
	eval[bool](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.value = %q; e.dispatchEvent(new Event("change", { bubbles: true })); return e.value === %q; })()`, selector, value, value))
	b.taps += 2 // the list, and the option in it
	b.touches = append(b.touches, touch{}, touch{})
}

// text returns what an element says.
func (b *browser) text(selector string) string {
	b.t.Helper()
	return eval[string](b, fmt.Sprintf(`document.querySelector(%q)?.innerText.replace(/\s+/g, " ").trim() ?? ""`, selector))
}

// module imports a module of the page and evaluates an expression with it as m.
func module[T any](b *browser, name, expression string) T {
	b.t.Helper()
	return eval[T](b, fmt.Sprintf(`import(new URL(%q, document.querySelector("script[type=module]").src)).then((m) => %s)`, "./"+name, expression))
}
