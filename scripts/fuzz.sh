#!/usr/bin/env bash
# Runs every fuzz target of every package for FUZZTIME each; go test itself takes one at a time.
set -euo pipefail
cd "$(dirname "$0")/.."
fuzztime=${FUZZTIME:-3s}

# go test -list prints a package's targets and then a line "ok <package> <time>".
listing=$(go test -list '^Fuzz' ./...)
targets=$(awk '/^Fuzz/ { names[n++] = $1 } /^ok/ { for (i = 0; i < n; i++) print $2, names[i]; n = 0 }' <<<"$listing")
if [[ -z $targets ]]; then
	echo "fuzz: there is no fuzz target in any package"
	exit 0
fi
said=$(mktemp)
trap 'rm -f "$said"' EXIT
# When the time is over while an input is tried, go test may call that a failure, of no input; then it tries again.
try() {
	go test -run '^$' -fuzz "^$2\$" -fuzztime "$fuzztime" -fuzzminimizetime 5x "$1" </dev/null 2>&1 | tee "$said"
}
while read -r package target; do
	echo "fuzz: $package $target for $fuzztime"
	try "$package" "$target" ||
		{ grep -q 'context deadline exceeded' "$said" && ! grep -q 'Failing input' "$said" && try "$package" "$target"; }
done <<<"$targets"
echo "fuzz: $(wc -l <<<"$targets") targets, nothing found"
