# What the scripts share: finding out what is missing and installing it. Sourced, not run.

say() { printf '%s\n' "$*" >&2; }
die() { say "$*"; exit 1; }

# as_root runs a command as root: directly, or by sudo where that asks no password.
as_root() {
  if [ "$(id -u)" = 0 ]; then "$@"
  elif command -v sudo >/dev/null && sudo -n true 2>/dev/null; then sudo -n "$@"
  else return 126
  fi
}

# apt_install PACKAGE... installs Debian packages that are missing.
apt_install() {
  command -v apt-get >/dev/null || die "Install these with your system's package manager, then run this again: $*"
  say "Installing $* …"
  as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >/dev/null 2>&1 && return
  [ $? = 126 ] && die "These packages are missing and this user may not install them; run as root once: apt-get install $*"
  as_root apt-get update -qq >/dev/null || die "The package lists could not be fetched; is there a network?"
  as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" >/dev/null ||
    die "These packages could not be installed: $*"
}

need_go() {
  command -v go >/dev/null || die "Go is missing. Install Go $(sed -n 's/^go //p' go.mod) or newer, then run this again."
  go version >/dev/null || die "Go is there but does not run."
}

# need_postgres makes sure that PostgreSQL's server programs are on this machine; none is started.
need_postgres() {
  local found
  found=$(ls -d /usr/lib/postgresql/*/bin/initdb 2>/dev/null | tail -n 1)
  [ -n "$found" ] || command -v initdb >/dev/null || apt_install postgresql
}

# need_faketime makes sure of the library that lets the storm move the database's clock.
need_faketime() {
  ls /usr/lib/*/faketime/libfaketime.so.1 >/dev/null 2>&1 || apt_install libfaketime
}

need_chromium() {
  command -v chromium >/dev/null || command -v chromium-browser >/dev/null || command -v google-chrome >/dev/null || apt_install chromium
}

need_node() {
  command -v npm >/dev/null || apt_install nodejs npm
}

# build makes both programs in build/.
build() {
  need_go
  mkdir -p build
  say 'Building …'
  go build -o build/ ./cmd/api ./cmd/worker || die "The programs could not be built."
}

# fuzz_targets lists every fuzz target: its package and its name.
fuzz_targets() {
  grep -rlE '^func Fuzz' --include='*_test.go' internal | while read -r f; do
    sed -n "s|^func \(Fuzz[A-Za-z0-9_]*\).*|./$(dirname "$f") \1|p" "$f"
  done | sort -u
}
