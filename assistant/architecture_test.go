package assistant_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// pure are the packages and files that decide. They get time as data and touch nothing of the world.
var pure = []string{
	"../assistant/feed/probe", "../assistant/feed/feedfile", "../assistant/channel", "../assistant/journal",
	"../assistant/health", "../assistant/session/model", "../assistant/timing", "../assistant/course", "../assistant/car",
	"../assistant/condition", "../assistant/fuel", "../assistant/pace", "../assistant/race", "../assistant/cue",
	"../assistant/words", "../assistant/statistics", "../assistant/demo", "../rules", "../rules/expression",
	"../rules/story", "../configs/document", "../audio/spoken",
	"core.go", "illness.go", "trail.go", "recognise.go", "talk.go", "input.go", "vocabulary.go",
}

var forbiddenImports = []string{
	"os", "os/exec", "os/signal", "net", "net/http", "sync", "sync/atomic", "syscall", "log", "log/slog",
	"math/rand", "math/rand/v2", "crypto/rand", "runtime", "unsafe", "context",
}

var forbiddenTime = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer"}

// goFiles lists the Go files of a folder, not below it, without tests.
func goFiles(t *testing.T, path string) []string {
	t.Helper()
	if strings.HasSuffix(path, ".go") {
		return []string{path}
	}
	all, err := filepath.Glob(filepath.Join(path, "*.go"))
	require.NoError(t, err)
	files := slices.DeleteFunc(all, func(f string) bool { return strings.HasSuffix(f, "_test.go") })
	require.NotEmpty(t, files, "no Go files in %s: is the list of this test out of date?", path)
	return files
}

// impurities says what in a file reaches for the world.
func impurities(fset *token.FileSet, f *ast.File, allow ...string) []string {
	var found []string
	add := func(at token.Pos, what string) { found = append(found, fset.Position(at).String()+": "+what) }
	for _, i := range f.Imports {
		path, _ := strconv.Unquote(i.Path.Value)
		if slices.Contains(forbiddenImports, path) && !slices.Contains(allow, path) {
			add(i.Pos(), "imports "+path)
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			add(n.Pos(), "starts a goroutine")
		case *ast.SelectorExpr:
			if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(forbiddenTime, n.Sel.Name) {
				add(n.Pos(), "looks at a clock: time."+n.Sel.Name)
			}
		}
		return true
	})
	return found
}

// What decides is a pure function of its inputs: that is why a replay gives what the live run gave.
func TestDecidingPackagesArePure(t *testing.T) {
	for _, path := range pure {
		for _, file := range goFiles(t, path) {
			fset := token.NewFileSet()
			f, err := parser.ParseFile(fset, file, nil, 0)
			require.NoError(t, err)
			require.Empty(t, impurities(fset, f), "%s decides: it must not touch the world", file)
		}
	}
}

func TestImpuritiesAreSeen(t *testing.T) {
	src := `package p
import ("os"; "time")
func f() { go f(); _ = time.Now(); os.Exit(1) }`
	fset := token.NewFileSet()
	f, err := parser.ParseFile(fset, "p.go", src, 0)
	require.NoError(t, err)
	require.Len(t, impurities(fset, f), 3)
}

// layers orders the packages below assistant: a package imports only from layers after its own. The
// root package assistant comes after assembly, which alone imports it, and before all others.
var layers = [][]string{
	{"assembly"},
	{"debrief"}, {"session", "session/model", "course/store", "course/drawing"}, {"words"}, {"hand/helper"},
	{"demo", "hand", "cue", "fuel", "pace", "race", "condition", "timing", "sensor"}, {"course", "car"},
	{"feed/probe"},
	{"feed"}, {"feed/feedfile"},
	{"feed/codec/packet", "feed/codec/json", "feed/codec/csv", "feed/codec/nmea", "feed/codec/can"},
	{"feed/codec", "feed/transport"}, {"health"}, {"journal", "folder", "statistics"}, {"channel"},
}

func layerOf(pkg string) int {
	for i, l := range layers {
		if slices.Contains(l, pkg) {
			return i
		}
	}
	return -1
}

func TestImportsPointDown(t *testing.T) {
	walkPackages(t, "..", func(dir string, files []*ast.File) {
		for _, f := range files {
			for _, i := range f.Imports {
				path, _ := strconv.Unquote(i.Path.Value)
				own, inside := strings.CutPrefix(path, "earshot/")
				if !inside {
					continue
				}
				switch {
				case strings.HasPrefix(dir, "rules"), strings.HasPrefix(dir, "audio"), strings.HasPrefix(dir, "configs"):
					require.False(t, strings.HasPrefix(own, "assistant") || strings.HasPrefix(own, "cmd"), "%s imports %s", dir, path)
				case strings.HasPrefix(dir, "assistant/"):
					from, to := layerOf(strings.TrimPrefix(dir, "assistant/")), -1
					require.GreaterOrEqual(t, from, 0, "%s has no layer: give it one in this test", dir)
					if below, ok := strings.CutPrefix(own, "assistant/"); ok {
						to = layerOf(below)
						require.Greater(t, to, from, "%s imports %s", dir, path)
					}
					require.False(t, own == "assistant" && dir != "assistant/assembly", "%s imports the root", dir)
				}
			}
		}
	})
}

// Every package says what it is for, and no file is too long to be read.
func TestPackagesAreDocumentedAndShort(t *testing.T) {
	walkPackages(t, "..", func(dir string, files []*ast.File) {
		documented := slices.ContainsFunc(files, func(f *ast.File) bool { return f.Doc != nil && len(f.Doc.Text()) > 40 })
		require.True(t, documented, "package %s has no comment", dir)
	})
	require.NoError(t, filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		if err == nil {
			require.Less(t, strings.Count(string(text), "\n"), 600, "%s is too long to be read", path)
		}
		return err
	}))
}

// walkPackages calls visit for each folder with Go files below root, tests left out.
func walkPackages(t *testing.T, root string, visit func(dir string, files []*ast.File)) {
	t.Helper()
	seen := 0
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.IsDir() {
			return err
		}
		if name := d.Name(); path != root && (strings.HasPrefix(name, ".") || name == "testdata") {
			return filepath.SkipDir
		}
		all, _ := filepath.Glob(filepath.Join(path, "*.go"))
		var files []*ast.File
		for _, file := range all {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments)
			if err != nil {
				return err
			}
			files = append(files, f)
		}
		if len(files) > 0 {
			seen++
			rel, _ := filepath.Rel(root, path)
			visit(filepath.ToSlash(rel), files)
		}
		return nil
	}))
	require.Greater(t, seen, 10)
}
