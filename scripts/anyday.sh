#!/usr/bin/env bash
# The command line and the invented hospital as on other days and on machines in other zones: each day of
# a week, the last days of months and of a year, 29 February, and both nights on which the hospital's clocks
# are set, before and after. Takes minutes; a failure names its day.
set -euo pipefail
cd "$(dirname "$0")/.."

GO="${GO:-go}"
zones=(UTC Europe/Berlin America/Los_Angeles Asia/Kolkata Pacific/Auckland)
days=(
	2026-11-23T06:10:00Z 2026-11-24T23:05:00Z 2026-11-25T12:00:00Z 2026-11-26T16:45:00Z # a week …
	2026-11-27T22:59:30Z 2026-11-28T03:00:00Z 2026-11-29T03:00:00Z                      # … to its Sunday
	2026-11-30T04:15:00Z 2026-12-31T22:58:00Z 2027-01-31T11:00:00Z                      # last days
	2028-02-29T10:30:00Z 2028-02-28T23:30:00Z
	2027-03-28T00:30:00Z 2027-03-28T01:30:00Z # 01:30 and 03:30: there is no 02:30 in the hospital
	2026-10-25T00:30:00Z 2026-10-25T01:30:00Z # 02:30, twice
)
failed=0
echo "== each hour of a week, and a year on each day of two"
RINSATE_TEST_EVERY_HOUR=1 "$GO" test -count=1 -timeout 60m -run "AnyHour|AnyYear" ./internal/demo || failed=1
for i in "${!days[@]}"; do
	day="${days[$i]}" zone="${zones[$((i % ${#zones[@]}))]}"
	echo "== $day on a machine in $zone"
	RINSATE_TEST_NOW="$day" RINSATE_TEST_ZONE="$zone" TZ="$zone" "$GO" test -count=1 -timeout 60m ./cmd/rinsate || failed=1
done
exit "$failed"
