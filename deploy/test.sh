#!/bin/sh
# Every check of the project. Installs what is missing on Debian (as root); a
# tool that can't be had is a failure, never a skip.
# What Go has seen pass is not run again until code, a file that a test looked at or
# the environment is another; with SOLEWRIGHT_TEST_ANEW=1, as .ci/run has it, every
# test runs, in random order.
set -eu
cd "$(dirname "$0")/.."
. deploy/tools.sh
anew=${SOLEWRIGHT_TEST_ANEW:+-count=1 -shuffle=on}
tests="-vet=off $anew -timeout=20m" # all that vet knows is asked once, before
export CGO_ENABLED=0 # as the program is built; and a fresh machine compiles everything once

# Everything that is made on the way. The same place each time, which tests that passed
# go by; another where it is taken.
scratch=${TMPDIR:-/tmp}/solewright-test.$(pwd | cksum | cut -d' ' -f1)
mkdir -m 711 "$scratch" 2>/dev/null || { scratch=$(mktemp -d) && chmod 711 "$scratch"; }
export GOTMPDIR="$scratch" # folders of tests, too
building='' tidying='' racing=''
trap 'kill -INT $building $tidying 2>/dev/null || :
	[ -z "$racing" ] || kill -s TERM -- "-$racing" 2>/dev/null || :
	sh deploy/pg.sh stop "$scratch/pg"; rm -rf "$scratch"' EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

say "tools"
need_go
go build -modfile=deploy/tools.mod -o bin/ mvdan.cc/gofumpt honnef.co/go/tools/cmd/staticcheck &
building=$!
go mod tidy -diff >"$scratch/tidy" 2>&1 &
tidying=$!
need_debian node nodejs
need_browser
need_axe # for the browser tests
need_debian gcc build-essential # the race detector needs cgo
sh deploy/pg.sh check
wait $building || die "could not build the tools that deploy/tools.mod names"
building=''

say "format"
unformatted=$(git ls-files -co --exclude-standard '*.go' | xargs bin/gofumpt -l)
[ -z "$unformatted" ] || die "not gofumpt-ed: $unformatted"
for script in deploy/*.sh; do sh -n "$script"; done
wait $tidying || { cat "$scratch/tidy" >&2; die "go.mod is not tidy"; }
tidying=''

say "build, and the engine for the browser"
build_wasm
SOLEWRIGHT_TEST_POSTGRES=$(sh deploy/pg.sh start "$scratch/pg")
export SOLEWRIGHT_TEST_POSTGRES SOLEWRIGHT_REQUIRE_POSTGRES=1
# What works at many things at once runs under the race detector, and only there: beside
# all that follows, for none of it keeps every processor busy to its end, and in a session
# of its own, to be ended with the servers it starts. It isn't on in SQLite itself, which
# is C that was translated, and would take more than half of the time; it is in ours, and
# in the driver's. Nothing is inlined: what is read and written stays the same, and a
# third of the compiling goes, several times what the tests take longer.
watched=$(go list ./models/exchange ./cmd/solewright)
CGO_ENABLED=1 setsid go test -race -gcflags=all=-l -gcflags=modernc.org/sqlite/lib=-race=false $tests $watched >"$scratch/races" 2>&1 &
racing=$!
go build ./...

say "vet and staticcheck"
go vet ./...
GOOS=js GOARCH=wasm go vet ./assess ./cmd/assesswasm
# Left out: ST1000 (package docs stand in doc.go), ST1003 (KM, MM, GTIN are the field's own spelling).
lint() { bin/staticcheck -checks 'all,-ST1000,-ST1003' "$@"; }
lint ./...
(export GOOS=js GOARCH=wasm && lint ./assess ./cmd/assesswasm)

say "the engine as WebAssembly"
GOOS=js GOARCH=wasm go test $tests -exec="$(go env GOROOT)/lib/wasm/go_js_wasm_exec" ./assess ./cmd/assesswasm

say "every test, on SQLite and on PostgreSQL"
others=$(go list ./... | grep -vxF "$watched")
failed=
go test $tests $others || failed=yes

say "data races"
wait $racing || failed=yes
racing=''
cat "$scratch/races"
[ -z "$failed" ] || die "a test failed"
say "all passed"
