#!/bin/sh
# The proofs that are too long for every run: speed at size, and a thousand
# writes cut short by kill -9. Writes dated tables to testdata/proof.
#   sh deploy/prove.sh                      all of them
#   sh deploy/prove.sh kill                 or: put, import, export, demo, judge, tally, study
#   sh deploy/prove.sh study shares tests   parts of the coverage study, to testdata/study
#   sh deploy/prove.sh -rounds 2 kill       fewer rounds
#   sh deploy/prove.sh -rows 200000 import  another size
set -eu
cd "$(dirname "$0")/.."
. deploy/tools.sh
need_go
sh deploy/pg.sh check
build_wasm
CGO_ENABLED=0 go build -trimpath -o bin/solewright ./cmd/solewright
CGO_ENABLED=0 go build -trimpath -o bin/prove ./cmd/prove
exec bin/prove "$@"
