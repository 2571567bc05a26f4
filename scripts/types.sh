#!/usr/bin/env bash
# Checks the scripts of the pages with TypeScript, pinned in package-lock.json.
set -euo pipefail
cd "$(dirname "$0")/.."

if [[ ! -x node_modules/.bin/tsc ]]; then
	echo "types: TypeScript is not installed; scripts/setup-tests.sh installs it" >&2
	exit 1
fi
# Every script says that it is checked, so that an editor does it too.
unchecked=$(grep -L '^// @ts-check' internal/web/static/*.js || true)
if [[ -n $unchecked ]]; then
	echo "types: begin these with // @ts-check:" >&2
	echo "$unchecked" >&2
	exit 1
fi
for project in pages worker; do
	node_modules/.bin/tsc -p "scripts/types/$project.json"
done
