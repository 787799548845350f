# Sourced by the other scripts: where the project is, what it needs, and how to
# get it. POSIX sh.

# Without gin's codec for MessagePack, which nobody speaks here: on a fresh machine it
# alone is a tenth of all compiling and a third of staticcheck's time.
export GOFLAGS="${GOFLAGS:+$GOFLAGS }-tags=nomsgpack"

begun=$(date +%s)
say() {
	took=$(($(date +%s) - begun))
	printf '\n== %s (%d:%02d)\n' "$*" $((took / 60)) $((took % 60))
}
die() { printf '%s: %s\n' "${0##*/}" "$*" >&2; exit 1; }

# need_go fails with what to do when there is no Go new enough; go.mod names the version.
need_go() {
	want=$(sed -n 's/^go //p' go.mod)
	command -v go >/dev/null 2>&1 || die "Go $want or newer is needed and was not found; install it from your usual source and put it on PATH"
	have=$(go env GOVERSION | sed 's/^go//; s/[^0-9.].*//')
	oldest=$(printf '%s\n%s\n' "$want" "$have" | sort -V | head -n 1)
	[ "$oldest" = "$want" ] || die "Go $want or newer is needed, this is $have"
}

# need_debian COMMAND PACKAGE: installs PACKAGE when COMMAND is missing.
need_debian() {
	command -v "$1" >/dev/null 2>&1 && return
	command -v apt-get >/dev/null 2>&1 || die "$1 is missing; install it (Debian package: $2)"
	[ "$(id -u)" = 0 ] || die "$1 is missing; as root: apt-get install $2"
	say "installing $2"
	[ -n "${apt_updated:-}" ] || { apt-get update -qq; apt_updated=yes; }
	DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
		-o DPkg::Lock::Timeout=300 "$2" >/dev/null || die "could not install $2"
	command -v "$1" >/dev/null 2>&1 || die "$2 is installed and $1 is still not on PATH"
}

# need_browser installs Chromium for the browser tests: without windows, which
# takes half of the processor time, or the whole of it where Debian is too old.
need_browser() {
	command -v chromium-headless-shell >/dev/null 2>&1 && return
	(need_debian chromium-headless-shell chromium-headless-shell) && return
	need_debian chromium chromium
}

# need_axe installs axe-core, which looks whether a page can be used by everybody.
need_axe() {
	axe=4.11.0
	[ "$(sed -n 's/^  "version": "\(.*\)",$/\1/p' bin/node_modules/axe-core/package.json 2>/dev/null)" = "$axe" ] && return
	need_debian npm npm
	npm install --silent --no-audit --no-fund --no-save --prefix bin "axe-core@$axe" || die "could not install axe-core $axe"
}

# need_columns installs an embedded column engine, to measure against.
need_columns() {
	duckdb=1.5.6-r.1
	[ "$(sed -n 's/^  "version": "\(.*\)",$/\1/p' bin/columns/node_modules/@duckdb/node-api/package.json 2>/dev/null)" = "$duckdb" ] && return
	need_debian node nodejs
	need_debian npm npm
	npm install --silent --no-audit --no-fund --no-save --prefix bin/columns "@duckdb/node-api@$duckdb" || die "could not install the column engine"
}

# build_wasm puts the reading engine for the browser beside the pages. A file that is the
# same stays as it is, for tests that looked at it passed with it.
build_wasm() {
	GOOS=js GOARCH=wasm go build -trimpath -ldflags='-s -w' -o bin/assess.wasm ./cmd/assesswasm
	gzip -9 -n -k -f bin/assess.wasm
	for file in bin/assess.wasm bin/assess.wasm.gz "$(go env GOROOT)/lib/wasm/wasm_exec.js"; do
		cmp -s "$file" "dashboard/static/${file##*/}" || cp "$file" dashboard/static/
	done
}
