#!/usr/bin/env bash
# Builds the program as it is released, for GOOS and GOARCH: scripts/build.sh FILE [FLAGS FOR go build].
# Static and without paths of this machine. VERSION=0.1.0 names the edition that rinsate version tells.
set -euo pipefail
cd "$(dirname "$0")/.."
out=$1
shift

# Without the stamp of the version control system where there is none: a plain copy of the sources lacks it.
stamp=auto
git rev-parse --verify -q HEAD >/dev/null 2>&1 || stamp=false
CGO_ENABLED=0 go build -trimpath "-buildvcs=$stamp" -ldflags "${LDFLAGS:--s -w} ${VERSION:+-X rinsate/internal/cli.version=$VERSION}" "$@" -o "$out" ./cmd/rinsate
