#!/usr/bin/env bash
# Lists functions that no command reaches, and fails when scripts/deadcode.txt does not say the same: a function
# that is new there is to be wired up or deleted, and one that is gone leaves the file. What only tests drive, the
# suite storetest and what brings engines to it, is no part of a command.
set -euo pipefail
cd "$(dirname "$0")/.."

found=$(go tool -modfile=tools.mod deadcode ./... |
	sed -n 's|^\([^:]*\)/[^/:]*:[0-9]*:[0-9]*: unreachable func: |\1 |p' |
	grep -vE '^internal/store/(storetest|sqlite/sqlitetest) ' | LC_ALL=C sort)
known=$(grep -v '^#' scripts/deadcode.txt | LC_ALL=C sort)
if [[ $found == "$known" ]]; then
	exit 0
fi
echo "deadcode: functions that no command reaches (+ new: wire up or delete; - gone: take out of scripts/deadcode.txt):" >&2
diff <(echo "$known") <(echo "$found") | sed -n 's/^> /+ /p; s/^< /- /p' >&2
exit 1
