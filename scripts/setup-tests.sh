#!/usr/bin/env bash
# Installs the programs that the tests call and this machine lacks, and says what it did.
# Only root on a Debian system installs; anyone else is told what to install.
set -euo pipefail
cd "$(dirname "$0")/.."

# program → Debian package. openssl checks the ledger's proofs from outside, strace injects faults
# into system calls, the C compiler is what the race detector needs, chromium shows the pages.
programs=(openssl strace gcc git chromium)
packages=()
for program in "${programs[@]}"; do
	if command -v "$program" >/dev/null; then
		echo "setup: $program is there"
	else
		packages+=("$program")
	fi
done
# A compiler without the C library's headers cannot link.
if command -v gcc >/dev/null && ! echo '#include <stdlib.h>' | gcc -E - >/dev/null 2>&1; then
	packages+=(libc6-dev)
elif [[ " ${packages[*]} " == *" gcc "* ]]; then
	packages+=(libc6-dev)
fi

if ! command -v go >/dev/null; then
	echo "setup: go is missing; install Go $(awk '$1 == "go" { print $2 }' go.mod) or later" >&2
	exit 1
fi

if ((${#packages[@]} == 0)); then
	echo "setup: nothing to install"
	exit 0
fi
if ((EUID != 0)) || ! command -v apt-get >/dev/null; then
	echo "setup: missing: ${packages[*]}" >&2
	echo "setup: install them and run this again; on Debian as root: apt-get install ${packages[*]}" >&2
	exit 1
fi
echo "setup: installing ${packages[*]}"
export DEBIAN_FRONTEND=noninteractive
apt-get update -qq
apt-get install -y -qq --no-install-recommends "${packages[@]}" >/dev/null
for program in "${programs[@]}"; do
	command -v "$program" >/dev/null || {
		echo "setup: $program is still missing after installing ${packages[*]}" >&2
		exit 1
	}
done
echo "setup: installed ${packages[*]}"
