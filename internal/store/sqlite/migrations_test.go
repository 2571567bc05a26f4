package sqlite_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

// TestMigrationNumbers keeps two branches from adding the same number, and a number from being left
// out.
func TestMigrationNumbers(t *testing.T) {
	files, err := os.ReadDir("migrations")
	if err != nil || len(files) == 0 {
		t.Fatalf("there are no migrations: %v", err)
	}
	for i, f := range files {
		if want := fmt.Sprintf("%05d_", i+1); !strings.HasPrefix(f.Name(), want) || !strings.HasSuffix(f.Name(), ".sql") {
			t.Errorf("migration %d is %s, want %s<name>.sql", i+1, f.Name(), want)
		}
	}
}
