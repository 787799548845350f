package e2e

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// goldenFile holds questions and answers of the engine, one
// {"ask":…,"answer":…} a line, which the server's build is held to as well.
const goldenFile = "../../assess/testdata/golden_readings.jsonl"

// The engine built for browsers gives, in a browser as it comes, with all its
// compilers, the very bytes that the server's build gives.
func TestTheBrowserGivesTheGoldenAnswers(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	build := exec.CommandContext(t.Context(), "go", "build", "-trimpath", "-ldflags=-s -w", "-o", filepath.Join(dir, "assess.wasm"), "../../cmd/assesswasm")
	build.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("building the engine: %v\n%s", err, out)
	}
	root, err := exec.CommandContext(t.Context(), "go", "env", "GOROOT").Output()
	if err != nil {
		t.Fatal(err)
	}
	loader, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), "lib/wasm/wasm_exec.js"))
	if err != nil {
		t.Fatal(err)
	}
	golden, err := os.ReadFile(goldenFile)
	if err != nil {
		t.Fatal(err)
	}
	files := http.FileServer(http.Dir(dir))
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/":
			w.Header().Set("Content-Type", "text/html")
			fmt.Fprint(w, `<!doctype html><title>engine</title><link rel="icon" href="data:,"><script src="/wasm_exec.js"></script>`)
		case "/wasm_exec.js":
			w.Header().Set("Content-Type", "text/javascript")
			w.Write(loader)
		case "/golden":
			w.Write(golden)
		default:
			files.ServeHTTP(w, r)
		}
	}))
	defer server.Close()

	asItComes, err := launch()
	if err != nil {
		t.Fatalf("starting Chromium: %v", err)
	}
	t.Cleanup(func() {
		if err := chromedp.Cancel(asItComes); err != nil {
			t.Errorf("closing Chromium: %v", err)
		}
	})
	b := newTab(t, asItComes, landscape)
	b.open(server.URL)
	wrong := eval[[]string](b, `(async () => {
		const go = new Go(), { instance } = await WebAssembly.instantiateStreaming(fetch("/assess.wasm"), go.importObject);
		go.run(instance);
		const lines = (await (await fetch("/golden")).text()).trimEnd().split("\n");
		globalThis.asked = lines.length;
		return lines.flatMap((line, i) => {
			const [ask, answer] = line.slice('{"ask":'.length, -1).split(',"answer":');
			return solewright.judge(ask) === answer ? [] : ["line " + (i + 1) + ": " + solewright.judge(ask)];
		});
	})()`)
	if len(wrong) > 0 {
		t.Errorf("%d answers differ, the first: %s", len(wrong), wrong[0])
	}
	if asked, want := eval[int](b, `asked`), bytes.Count(golden, []byte("\n")); asked != want || asked < 100 {
		t.Errorf("%d questions were asked, want all %d", asked, want)
	}
}
