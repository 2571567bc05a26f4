#!/usr/bin/env bash
# Tries the release check on random histories, other ones each time, until it is stopped or for SOAKTIME seconds, and
# prints which failed. RINSATE_SEED=n go test -run TestHistories ./internal/domain/reprocessing/plain looks at one of them.
set -euo pipefail
cd "$(dirname "$0")/.."

each=${SOAKEACH:-100000}
first=${SOAKFROM:-$(($(date +%s) * 1000000))}
binary=$(mktemp)
trap 'rm -f "$binary"' EXIT
go test -c -o "$binary" ./internal/domain/reprocessing/plain
SECONDS=0 # the time is for trying, not for building
tried=0
failed=0
cd internal/domain/reprocessing/plain
while [[ -z ${SOAKTIME:-} || $SECONDS -lt $SOAKTIME ]]; do
	if ! said=$(RINSATE_FROM=$((first + tried)) RINSATE_HISTORIES=$each "$binary" -test.run '^TestHistories$' -test.timeout 0 -test.v); then
		failed=$((failed + 1))
		grep -E 'RINSATE_SEED=|histories failed|only .* of the histories|panic|ready, .* not$' <<<"$said" || echo "$said"
	fi
	tried=$((tried + each))
	echo "soak: $tried histories from $first on, $failed runs of $each failed"
done
((failed == 0))
