#!/usr/bin/env bash
# Builds the program as it is released, for every supported system, and fails above the size limit.
set -euo pipefail
cd "$(dirname "$0")/.."
limit=$((30 * 1000 * 1000))

out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT
for target in linux/amd64 linux/arm64 windows/amd64 darwin/arm64; do
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
