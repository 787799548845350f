#!/bin/sh
# The proofs that are too long for every run: speed at size, and a thousand
# writes cut short by kill -9. Writes dated tables to testdata/proof.
#   sh deploy/prove.sh                      all of them
#   sh deploy/prove.sh kill                 or: disk (as root), put, import, export, demo, judge, tally, signals, study, fleet,
#                                           fleet-postgres, fleet-sqlite, growth, columns
#   sh deploy/prove.sh study shares tests   parts of the coverage study, to testdata/study
#   sh deploy/prove.sh -rounds 2 kill       fewer rounds
#   sh deploy/prove.sh -rows 200000 import  another size
#   sh deploy/prove.sh race                 the race detector where test.sh has no time for it
set -eu
cd "$(dirname "$0")/.."
. deploy/tools.sh
need_go
sh deploy/pg.sh check
if [ "${1:-}" = race ]; then
	need_debian gcc build-essential # the race detector needs cgo
	build_wasm
	found=$(mktemp)
	trap 'rm -f "$found"' EXIT
	sh deploy/pg.sh with env SOLEWRIGHT_REQUIRE_POSTGRES=1 CGO_ENABLED=1 \
		go test -race -count=1 -timeout=30m ./models ./dashboard ./reports/... >"$found" || { cat "$found"; die "a race, or a failing test"; }
	{
		echo "# No data race is found"
		echo
		echo "- date: $(date -u '+%Y-%m-%d %H:%M') UTC"
		echo "- command: \`sh deploy/prove.sh race\`, which is \`go test -race\` on SQLite and PostgreSQL"
		echo "- with what \`sh deploy/test.sh\` runs under the detector each time: models/exchange, cmd/solewright"
		echo
		echo "| package | s |"
		echo "| --- | --- |"
		awk '$1 == "ok" { sub("s$", "", $3); print "| " $2 " | " $3 " |" }' "$found"
	} >testdata/proof/race.md
	cat testdata/proof/race.md
	exit
fi
case " $* " in *" columns "*) need_columns ;; esac
[ $# -gt 0 ] || need_columns
build_wasm
CGO_ENABLED=0 go build -trimpath -o bin/solewright ./cmd/solewright
CGO_ENABLED=0 go build -trimpath -o bin/prove ./cmd/prove
exec bin/prove "$@"
