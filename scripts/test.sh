#!/usr/bin/env bash
# Every check, quick ones first; the first that fails ends the run. Expects what setup-tests.sh
# installs.
set -euo pipefail
cd "$(dirname "$0")/.."

scripts/lint.sh

# How long a test takes is the machine's affair: the limit only ends what would never end.
echo "== go test -race, what is short"
# Of the desk, the engine and the pages only what runs beside something else, and nothing of the second release check,
# which tries the same code again and again: under the race detector all of them take minutes.
go list ./... | grep -Ev '^rinsate/(cmd/rinsate|internal/(demo|desk|domain/reprocessing/plain|layers|store/sqlite|web)|scripts/.*)$' |
	CGO_ENABLED=1 xargs go test -race -short -shuffle=on -timeout 60m
CGO_ENABLED=1 go test -race -short -shuffle=on -timeout 60m -run 'Import|FirstRun|While|Twice|OlderCopy|BeforeTheFirstLook|Files|Serve|Pages$' ./internal/web
CGO_ENABLED=1 go test -race -short -shuffle=on -timeout 60m -run 'Begin|Bench|Clock|Watch|Verif' ./internal/desk
CGO_ENABLED=1 go test -race -short -shuffle=on -timeout 60m -run 'While|Killed|TwoProcesses|Meanwhile|Beside|TestSQLite/(Append|GroupCommit|Panic|GivenUp|Try|Snapshot|Close)' ./internal/store/sqlite

echo "== go test, everything"
# A browser beside other work loses keys to its own slowness.
go list ./... | grep -v '^rinsate/internal/web$' | xargs go test -shuffle=on -timeout 60m
go test -shuffle=on -timeout 60m -parallel 3 ./internal/web

echo "== the development build"
go vet -tags dev ./internal/web ./internal/cli
go test -tags dev -run '^TestDevelopment' ./internal/web

echo "== fuzz"
scripts/fuzz.sh

echo "== build"
scripts/crossbuild.sh
