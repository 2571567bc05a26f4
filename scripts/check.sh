#!/usr/bin/env bash
# What somebody wants to know between two edits, in less than a minute on two cores once the compiler's cache is
# warm: format, vet, and the quick tests. Go keeps results, so that only what an edit can have changed runs again.
#
# Left to make test: the linters, the race detector, fuzzing, the pages in a browser, commands as a person types
# them, crashes and full disks under the store, the invented year, cross builds, and tests that leave themselves out with
# -short.
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

echo "== quick tests"
go list ./internal/... ./scripts/... | grep -Ev '^rinsate/internal/(cli|demo|store|web)(/|$)' | xargs go test -short |
	grep -v "no test files"
