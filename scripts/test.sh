#!/usr/bin/env bash
# Every check, quick ones first; the first that fails ends the run. Expects what setup-tests.sh
# installs.
set -euo pipefail
cd "$(dirname "$0")/.."

scripts/lint.sh

echo "== go test -race"
CGO_ENABLED=1 go test -race -shuffle=on ./...

echo "== go test, what is too long for the race detector"
go test -run '^TestStoriesAreFound$' ./internal/demo
go test -run '^TestStoriesByClicking$' ./internal/web

echo "== fuzz"
scripts/fuzz.sh

echo "== build"
scripts/crossbuild.sh
