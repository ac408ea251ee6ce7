// Package opendata finds the measured data that tests read and that are no part of the project. It is for tests only.
package opendata

import (
	"os"
	"path/filepath"
	"testing"
)

// Path is where a file or folder of the open data lies: below $EARSHOT_OPEN_DATA, else below ../shared/open-data beside the project.
// Where it is not there the test is skipped.
func Path(t testing.TB, name string) string {
	t.Helper()
	root := os.Getenv("EARSHOT_OPEN_DATA")
	if root == "" {
		root = filepath.Join(project(t), "..", "shared", "open-data")
	}
	path := filepath.Join(root, filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		t.Skip("the open data are not here: set EARSHOT_OPEN_DATA to their folder")
	}
	return path
}

// project is the folder of go.mod, in or above that of the test.
func project(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("there is no go.mod above this test")
		}
		dir = up
	}
}
