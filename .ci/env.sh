# Sourced by the scripts beside it: the same surroundings by hand and in CI.
# Leaves the caller in the module's folder.
# shellcheck shell=bash

set -euo pipefail
exec </dev/null
cd "$(dirname "${BASH_SOURCE[0]}")/.."

export HOME="${HOME:-/root}"
export PATH="$PATH:/usr/local/go/bin"
# Only the toolchain that is here, only the modules of go.mod and go.sum.
export GOTOOLCHAIN=local GOFLAGS=-mod=readonly GOWORK=off
# A checkout owned by somebody else stops the go command, which asks git for the
# build's revision. Said for these processes alone; nobody's settings change.
export GIT_CONFIG_COUNT=1 GIT_CONFIG_KEY_0=safe.directory GIT_CONFIG_VALUE_0="$PWD"

fail() {
    echo "$0: $*" >&2
    exit 1
}

command -v go >/dev/null || fail "no go command; install Go 1.26 in /usr/local/go"
