#!/usr/bin/env bash
# Builds the program as it is released, for GOOS and GOARCH: scripts/build.sh FILE. Static, without paths of
# this machine, and small: packages that wait for people, files or networks rather than compute are compiled
# without inlining, which makes the program 1.4 MB smaller.
set -euo pipefail
cd "$(dirname "$0")/.."

# The store, the ledger, the statistics and the database engine are not here: they are to be fast.
small=(
	rinsate/internal/{access,chart,cli,demo,desk,dossier,figure,policy,web,wire}
	archive/... crypto/tls crypto/x509 encoding/asn1 encoding/gob go/... html/... mime/... net net/http/... text/... vendor/...
	codeberg.org/... github.com/... go.yaml.in/... golang.org/x/mod/... golang.org/x/text/...
)
flags=()
for pattern in "${small[@]}"; do
	flags+=("-gcflags=$pattern=-l")
done
# Without the stamp of the version control system, which a plain copy of the sources lacks.
CGO_ENABLED=0 go build -trimpath -buildvcs=false -ldflags '-s -w' "${flags[@]}" -o "$1" ./cmd/rinsate
