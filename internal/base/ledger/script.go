package ledger

import _ "embed"

// VerifyScript is a shell script by which an outsider checks a proof with sha256sum and openssl alone, and
// nothing of this program.
//
//go:embed verify.sh
var VerifyScript []byte
