#!/usr/bin/env bash
# Every check, quick ones first; the first that fails ends the run. Expects what setup-tests.sh
# installs.
set -euo pipefail
cd "$(dirname "$0")/.."

scripts/lint.sh

# The command line and the invented year work in one thread and take minutes with the race detector; what
# they call is raced by its own tests. The pages are tested twice: their server with it, and everything, in a
# browser, without.
# How long a test takes is the machine's affair: the limit only ends what would never end.
echo "== go test -race"
go list ./... | grep -Ev '^rinsate/(cmd/rinsate|internal/demo)$' | CGO_ENABLED=1 xargs go test -race -shuffle=on -timeout 60m

echo "== go test, in a browser and what is too long for the race detector"
# A browser beside other work loses keys to its own slowness.
go test -shuffle=on -timeout 60m ./internal/web
go test -shuffle=on -timeout 60m ./cmd/rinsate ./internal/demo

echo "== the development build"
go vet -tags dev ./internal/web ./internal/cli
go test -tags dev -run '^TestDevelopment' ./internal/web

echo "== fuzz"
scripts/fuzz.sh

echo "== build"
scripts/crossbuild.sh
