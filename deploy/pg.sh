#!/bin/sh
# A throw-away PostgreSQL for tests and proofs, as root or as an ordinary user.
#   sh deploy/pg.sh check           fails unless there is a server to start
#   sh deploy/pg.sh with CMD ARGS   runs CMD with its address in SOLEWRIGHT_TEST_POSTGRES
#   sh deploy/pg.sh start DIR       starts one in DIR and prints its address
#   sh deploy/pg.sh stop DIR        stops it and removes DIR
# SOLEWRIGHT_PG_DURABLE=1 keeps fsync, full_page_writes and synchronous_commit
# on, as proofs of durability and speed need; tests go without.
set -eu
. "$(dirname "$0")/tools.sh"

# server prints the folder of the newest server's programs: Debian's, or PATH's.
server() {
	for initdb in $(ls -d /usr/lib/postgresql/*/bin/initdb 2>/dev/null | sort -t/ -k5 -rV) $(command -v initdb || true); do
		bin=$(dirname "$(readlink -f "$initdb")")
		[ -x "$bin/postgres" ] && echo "$bin" && return
	done
	return 1
}

# need_server finds a server, or installs Debian's, without the cluster that the
# package would otherwise start.
need_server() {
	bin=$(server) && return
	command -v apt-get >/dev/null 2>&1 || die "no PostgreSQL server; install one (Debian package: postgresql)"
	[ "$(id -u)" = 0 ] || die "no PostgreSQL server; as root: apt-get install postgresql"
	say "installing postgresql" >&2
	mkdir -p /etc/postgresql-common
	[ -e /etc/postgresql-common/createcluster.conf ] ||
		echo 'create_main_cluster = false' >/etc/postgresql-common/createcluster.conf
	apt-get update -qq >&2
	DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
		-o DPkg::Lock::Timeout=300 postgresql >/dev/null || die "could not install postgresql"
	bin=$(server) || die "postgresql is installed and its programs were still not found"
}

# as_owner runs a program as the owner of the data: initdb refuses root.
as_owner() {
	(
		cd / # which any user can read
		[ "$(id -u)" = 0 ] || exec "$@"
		exec setpriv --reuid="$owner" --regid="$(id -g "$owner")" --clear-groups env HOME=/tmp "$@"
	)
}

# start DIR
start() {
	need_server
	owner=$(id -un)
	if [ "$owner" = root ]; then
		owner=postgres
		id "$owner" >/dev/null 2>&1 || useradd --system --no-create-home --shell /usr/sbin/nologin "$owner"
	fi
	quick='-c fsync=off -c synchronous_commit=off -c full_page_writes=off'
	[ -z "${SOLEWRIGHT_PG_DURABLE:-}" ] || quick=
	mkdir -p "$1"
	dir=$(cd "$1" && pwd)
	chmod 711 "$dir"
	[ "$(id -u)" != 0 ] || chown "$owner" "$dir"
	echo "$bin" >"$dir/bin"
	as_owner "$bin/initdb" -D "$dir/data" -U solewright -A trust -E UTF8 --locale=C.UTF-8 --no-sync >"$dir/initdb.log" 2>&1 ||
		{ cat "$dir/initdb.log" >&2; die "initdb failed"; }
	# The same port each time, which tests that passed go by; another where it is taken.
	for at in $(pwd | cksum | cut -d' ' -f1) $(od -An -N14 -tu2 /dev/urandom); do
		port=$((20000 + at % 20000))
		if as_owner "$bin/pg_ctl" -D "$dir/data" -l "$dir/server.log" -w -t 60 -o \
			"-p $port -k '' -c listen_addresses=127.0.0.1 $quick -c max_connections=200 -c shared_buffers=256MB -c max_wal_size=4GB" start >/dev/null 2>&1; then
			echo "postgres://solewright@127.0.0.1:$port/postgres?sslmode=disable"
			return
		fi
	done
	cat "$dir/server.log" >&2
	die "could not start PostgreSQL"
}

# stop DIR
stop() {
	[ -d "$1/data" ] || { rm -rf "$1"; return; }
	owner=$(stat -c %U "$1/data")
	dir=$(cd "$1" && pwd)
	as_owner "$(cat "$dir/bin")/pg_ctl" -D "$dir/data" -m immediate -w stop >/dev/null 2>&1 || true
	rm -rf "$dir"
}

case ${1:-} in
check) need_server ;;
start) start "${2:?start needs a folder}" ;;
stop) stop "${2:?stop needs a folder}" ;;
with)
	shift
	[ $# -gt 0 ] || die "with needs a command"
	scratch=$(mktemp -d "${TMPDIR:-/tmp}/solewright-pg.XXXXXX")
	trap 'stop "$scratch"' EXIT
	trap 'exit 130' INT
	trap 'exit 143' TERM
	SOLEWRIGHT_TEST_POSTGRES=$(start "$scratch")
	export SOLEWRIGHT_TEST_POSTGRES
	"$@"
	;;
*) die "usage: pg.sh check | with CMD ARGS | start DIR | stop DIR" ;;
esac
