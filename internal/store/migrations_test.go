package store_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestMigrationNumbers keeps two branches from adding the same number, and a number from being left
// out, for every engine.
func TestMigrationNumbers(t *testing.T) {
	engines, err := os.ReadDir("migrations")
	if err != nil || len(engines) == 0 {
		t.Fatalf("no engine has migrations: %v", err)
	}
	for _, engine := range engines {
		files, err := os.ReadDir(filepath.Join("migrations", engine.Name()))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s has no migrations: %v", engine.Name(), err)
		}
		for i, f := range files {
			if want := fmt.Sprintf("%05d_", i+1); !strings.HasPrefix(f.Name(), want) || !strings.HasSuffix(f.Name(), ".sql") {
				t.Errorf("%s: migration %d is %s, want %s<name>.sql", engine.Name(), i+1, f.Name(), want)
			}
		}
	}
}
