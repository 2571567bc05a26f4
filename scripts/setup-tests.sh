#!/usr/bin/env bash
# Installs the programs and packages that the checks call and this machine lacks, and says what it did.
# Only root on a Debian system installs; anyone else is told what to install.
set -euo pipefail
cd "$(dirname "$0")/.."

# program → Debian package. openssl checks the ledger's proofs from outside, strace injects faults
# into system calls, the C compiler is what the race detector needs, chromium shows the pages, node runs
# what checks their scripts.
programs=(openssl strace gcc git chromium node npm)
packages=()
for program in "${programs[@]}"; do
	if command -v "$program" >/dev/null; then
		echo "setup: $program is there"
	elif [[ $program == node ]]; then
		packages+=(nodejs)
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

install_packages() {
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
}

if ((${#packages[@]} == 0)); then
	echo "setup: no program to install"
else
	install_packages
fi

# A copy of the lock stays beside what was installed from it.
if cmp -s package-lock.json node_modules/.lock-of-setup; then
	echo "setup: the packages of package-lock.json are there"
else
	npm ci --ignore-scripts --no-audit --no-fund >/dev/null
	cp package-lock.json node_modules/.lock-of-setup
	echo "setup: installed the packages of package-lock.json"
fi
