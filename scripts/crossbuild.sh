#!/usr/bin/env bash
# Builds the program as it is released, for every supported system. Fails above the size limit, and when the
# program has grown by more than 5 % since somebody last wrote down why. Says what its bytes are.
set -euo pipefail
cd "$(dirname "$0")/.."
limit=$((64 * 1000 * 1000))

out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT
for target in {linux,windows,darwin}/{amd64,arm64}; do
	binary=$out/rinsate-${target//\//-}
	GOOS=${target%/*} GOARCH=${target#*/} scripts/build.sh "$binary"
	size=$(wc -c <"$binary")
	printf 'build: %-14s %5d.%d MB\n' "$target" $((size / 1000000)) $((size / 100000 % 10))
	if ((size > limit)); then
		echo "build: $target has $size bytes, more than $limit" >&2
		exit 1
	fi
done

facts=$(go version -m "$out/rinsate-linux-amd64")
if [[ $facts != *CGO_ENABLED=0* ]]; then
	echo "build: linux/amd64 was not built with CGO_ENABLED=0, so it may not be static" >&2
	exit 1
fi

GOOS=linux GOARCH=amd64 LDFLAGS=-w scripts/build.sh "$out/with-symbols"
go run ./scripts/size "$out/with-symbols"

known=$(awk '$1 == "linux/amd64" { print $2 }' scripts/size.txt)
size=$(wc -c <"$out/rinsate-linux-amd64")
if ((size * 100 > known * 105)); then
	echo "build: linux/amd64 has grown from $known to $size bytes, by more than 5 %." >&2
	echo "build: say in CHANGELOG.md what it grew for, and write \"linux/amd64 $size\" into scripts/size.txt" >&2
	exit 1
fi
