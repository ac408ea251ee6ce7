package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"earshot/assistant/assembly"
)

func TestMain(m *testing.M) {
	testscript.Main(noSavedCourses{m}, map[string]func(){
		"earshot": func() { os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// noSavedCourses runs the tests without saved courses: none may reach the user's folder, and no test the next one.
// Scripts say their own.
type noSavedCourses struct{ m *testing.M }

func (n noSavedCourses) Run() int {
	os.Setenv("EARSHOT_COURSES", assembly.None)
	return n.m.Run()
}

// projectRoot is the folder of go.mod.
func projectRoot(t testing.TB) string {
	t.Helper()
	dir, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// Every command, right and wrong use: what it prints and the code with which it ends.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:           "testdata/script",
		UpdateScripts: os.Getenv("EARSHOT_UPDATE") != "",
		Setup: func(e *testscript.Env) error {
			// Nothing of the user's own configuration or sound may reach the scripts.
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("XDG_CONFIG_HOME", filepath.Join(e.WorkDir, ".config"))
			e.Setenv("XDG_DATA_HOME", filepath.Join(e.WorkDir, ".data"))
			e.Setenv("XDG_STATE_HOME", filepath.Join(e.WorkDir, ".state"))
			e.Setenv("PULSE_SERVER", "")
			e.Setenv("DISPLAY", "")
			e.Setenv("TESTDATA", filepath.Join(projectRoot(t), "testdata"))
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// wavseconds FILE MIN MAX: the file is a WAV of so many seconds.
			"wavseconds": wavSeconds,
			// wavsame FILE FILE: both hold the same sound.
			"wavsame": wavSame,
		},
	})
}

// buildPrograms builds earshot and its helper programs as a user would.
func buildPrograms(t testing.TB) (dir string) {
	t.Helper()
	dir = t.TempDir()
	cmd := exec.Command("go", "build", "-o", dir+string(filepath.Separator), "./cmd/...")
	cmd.Dir = projectRoot(t)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("building the programs: %v\n%s", err, out)
	}
	return dir
}

func built(dir, name string) string {
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	return filepath.Join(dir, name)
}

func lines(text string) []string { return strings.Split(strings.TrimSpace(text), "\n") }
