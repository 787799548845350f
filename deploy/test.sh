#!/bin/sh
# Every check of the project. Installs what is missing on Debian (as root); a
# tool that can't be had is a failure, never a skip.
# What Go has seen pass is not run again until code, a file that a test looked at or
# the environment is another; with SOLEWRIGHT_TEST_ANEW=1, as .ci/run has it, every
# test runs, in random order.
set -eu
cd "$(dirname "$0")/.."
. deploy/tools.sh
anew=${SOLEWRIGHT_TEST_ANEW:+-count=1}
tests="-vet=off $anew -timeout=20m" # all that vet knows is asked once, before
export CGO_ENABLED=0 # as the program is built; and a fresh machine compiles everything once

say "tools"
need_go
need_debian node nodejs
need_browser
need_axe # for the browser tests
need_debian gcc build-essential # the race detector needs cgo
sh deploy/pg.sh check
go build -modfile=deploy/tools.mod -o bin/ mvdan.cc/gofumpt honnef.co/go/tools/cmd/staticcheck

say "format"
unformatted=$(git ls-files -co --exclude-standard '*.go' | xargs bin/gofumpt -l)
[ -z "$unformatted" ] || die "not gofumpt-ed: $unformatted"
for script in deploy/*.sh; do sh -n "$script"; done
go mod tidy -diff

say "the engine for the browser, vet and staticcheck"
build_wasm
go vet ./...
GOOS=js GOARCH=wasm go vet ./assess ./cmd/assesswasm
# Left out: ST1000 (package docs stand in doc.go), ST1003 (KM, MM, GTIN are the field's own spelling).
lint() { bin/staticcheck -checks 'all,-ST1000,-ST1003' "$@"; }
lint ./...
(export GOOS=js GOARCH=wasm && lint ./assess ./cmd/assesswasm)

say "the engine as WebAssembly"
GOOS=js GOARCH=wasm go test $tests -exec="$(go env GOROOT)/lib/wasm/go_js_wasm_exec" ./assess ./cmd/assesswasm

say "every test, on SQLite and on PostgreSQL, and data races beside them"
# Not in the memory of SQLite itself, which is C that was translated: to watch that took
# more than half of the time. Ours is watched, and the driver's. Beside the tests, for
# each of the two leaves a processor idle now and then.
races=$(mktemp)
CGO_ENABLED=1 go test -race -gcflags=modernc.org/sqlite/lib=-race=false $tests ./assess ./models/exchange ./cmd/solewright >"$races" 2>&1 &
racing=$!
trap 'kill -INT $racing 2>/dev/null || :; rm -f "$races"' EXIT
trap 'exit 130' INT TERM
failed=
sh deploy/pg.sh with env SOLEWRIGHT_REQUIRE_POSTGRES=1 go test $tests ${anew:+-shuffle=on} ./... || failed=yes

say "data races"
wait $racing || failed=yes
cat "$races"
[ -z "$failed" ] || die "a test failed"
say "all passed"
