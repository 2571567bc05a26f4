#!/bin/sh
# Verifies that a signed ledger holds a record, with sha256sum and openssl alone:
#   sh verify.sh RECORD.json PROOF.tlog-proof KEY.txt
# The key must come from elsewhere than the record. What is checked: the SHA-256 of the record (its leaf), the
# way from the leaf to the root of the tree (RFC 9162), and the signature (Ed25519) under that root.
set -eu
record=$1 proof=$2 key=$3
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
fail() { echo "NOT PROVED: $1" >&2; exit 1; }

# The checkpoint is behind the first empty line of the proof. What is signed is its text up to the next one.
sed '1,/^$/d' "$proof" > "$work/checkpoint"
sed -n '/^$/q;p' "$work/checkpoint" > "$work/signed"
size=$(sed -n 2p "$work/signed")
root=$(sed -n 3p "$work/signed")

# The leaf: a zero byte and the record.
(printf '\000'; cat "$record") | sha256sum | cut -c1-64 > "$work/leaf"
(printf '\000'; cat "$record") | openssl dgst -sha256 -binary > "$work/node"
echo "leaf $(cat "$work/leaf")"

# The way up: a one byte, the left hash and the right one.
at=$(sed -n 's/^index //p' "$proof")
last=$((size - 1))
sed -n '/^index /,/^$/p' "$proof" | sed '1d;/^$/d' > "$work/way"
while read -r hash; do
	while [ $((at % 2)) -eq 0 ] && [ "$at" -eq "$last" ] && [ "$last" -gt 0 ]; do
		at=$((at / 2)) last=$((last / 2))
	done
	printf %s "$hash" | openssl base64 -d -A > "$work/beside"
	if [ $((at % 2)) -eq 1 ]; then
		(printf '\001'; cat "$work/beside" "$work/node")
	else
		(printf '\001'; cat "$work/node" "$work/beside")
	fi | openssl dgst -sha256 -binary > "$work/next"
	mv "$work/next" "$work/node"
	at=$((at / 2)) last=$((last / 2))
done < "$work/way"
[ "$last" -eq 0 ] || fail "the way is too short"
[ "$(openssl base64 -A < "$work/node")" = "$root" ] || fail "the way from the record does not lead to the signed root"

# The signature: the last 64 bytes of what is signed with; the key: its last 32 bytes, as DER.
(printf '\060\052\060\005\006\003\053\145\160\003\041\000'; cut -d+ -f3- "$key" | tr -d '\n' | openssl base64 -d -A | tail -c 32) > "$work/key.der"
sed '1,/^$/d' "$work/checkpoint" | head -n 1 | sed 's/.* //' | tr -d '\n' | openssl base64 -d -A | tail -c 64 > "$work/signature"
openssl pkeyutl -verify -pubin -keyform DER -inkey "$work/key.der" -rawin -in "$work/signed" -sigfile "$work/signature" > /dev/null || fail "the key did not sign this checkpoint"

echo "The ledger $(sed -n 1p "$work/signed") held this record when it had $size records, and the key signed that."
