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
while read -r package target; do
	echo "fuzz: $package $target for $fuzztime"
	go test -run '^$' -fuzz "^$target\$" -fuzztime "$fuzztime" -fuzzminimizetime 5x "$package" </dev/null
done <<<"$targets"
echo "fuzz: $(wc -l <<<"$targets") targets, nothing found"
