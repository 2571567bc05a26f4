#!/usr/bin/env bash
# Every check, quick ones first; the first that fails ends the run. Expects what setup-tests.sh
# installs.
set -euo pipefail
cd "$(dirname "$0")/.."

scripts/lint.sh

# The command line and the invented year work in one thread and take minutes with the race detector; what
# they call is raced by its own tests.
unraced='^rinsate/(cmd/rinsate|internal/demo)$'
echo "== go test -race"
go list ./... | grep -Ev "$unraced" | CGO_ENABLED=1 xargs go test -race -shuffle=on

echo "== go test, what is too long for the race detector"
go list ./... | grep -E "$unraced" | xargs go test -shuffle=on

echo "== fuzz"
scripts/fuzz.sh

echo "== build"
scripts/crossbuild.sh
