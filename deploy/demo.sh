#!/bin/sh
# Builds solewright and runs it on an embedded database with an invented
# retailer. Needs Go and nothing else; arguments go on to `solewright demo`.
set -eu
cd "$(dirname "$0")/.."
. deploy/tools.sh
need_go
build_wasm
CGO_ENABLED=0 go build -trimpath -o bin/solewright ./cmd/solewright
exec bin/solewright demo "$@"
