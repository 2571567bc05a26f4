#!/usr/bin/env bash
# The checks that need no test run. The first that fails ends the script.
set -euo pipefail
cd "$(dirname "$0")/.."

echo "== gofumpt"
unformatted=$(go tool gofumpt -l .)
if [[ -n $unformatted ]]; then
	echo "not formatted (go tool gofumpt -w .):" >&2
	echo "$unformatted" >&2
	exit 1
fi

echo "== go vet"
go vet ./...

echo "== go fix"
go fix -diff ./...

echo "== go mod tidy and verify"
go mod tidy -diff
go mod verify

echo "== golangci-lint"
go tool -modfile=tools.mod golangci-lint config verify
go tool -modfile=tools.mod golangci-lint run --allow-parallel-runners ./...

echo "== staticcheck"
go tool staticcheck ./...

echo "== deadcode"
scripts/deadcode.sh

echo "== types of the pages' scripts"
scripts/types.sh
