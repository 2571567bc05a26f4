package desk_test

import (
	"flag"
	"testing"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	// rapid's 100 runs are meant for functions of values; these make a database each.
	flag.Parse()
	if checks := flag.Lookup("rapid.checks"); checks.Value.String() == checks.DefValue {
		if err := checks.Value.Set("15"); err != nil {
			panic(err)
		}
	}
	goleak.VerifyTestMain(m)
}
