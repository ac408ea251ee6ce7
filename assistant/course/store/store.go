// Package store keeps the courses that were learned in a folder of the user's, one file each, from one session
// to the next.
//
//	Core ──a better map──▶ Keeper ──▶ folder ──at the next start──▶ List ──▶ Setup.Known
//
// A file is written beside its place and moved there, so that a crash leaves the old one or the new one. The package
// never decides which course is driven (course.Recogniser does, from what List returned) and never
// changes a course.
package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"unicode"

	"earshot/assistant/course"
)

// Errors to ask for.
var (
	ErrNoCourse = errors.New("there is no saved course of that name")
	ErrTaken    = errors.New("there is a saved course of that name already")
)

// Root is the folder for saved courses unless the user says otherwise: earshot/courses in the platform's place for
// state ($XDG_STATE_HOME or ~/.local/state; on Windows %LocalAppData%; on macOS ~/Library/Application Support).
func Root() (string, error) { return root(runtime.GOOS, os.Getenv, os.UserHomeDir) }

func root(goos string, env func(string) string, home func() (string, error)) (string, error) {
	base := ""
	below := []string{".local", "state"}
	switch goos {
	case "windows":
		base, below = env("LocalAppData"), []string{"AppData", "Local"}
	case "darwin", "ios":
		below = []string{"Library", "Application Support"}
	default:
		// The XDG base directory specification: a relative path is to be ignored.
		if dir := env("XDG_STATE_HOME"); filepath.IsAbs(dir) {
			base = dir
		}
	}
	if base == "" {
		h, err := home()
		if err != nil {
			return "", fmt.Errorf("finding the folder for saved courses: %w (name one with --courses)", err)
		}
		base = filepath.Join(append([]string{h}, below...)...)
	}
	return filepath.Join(base, "earshot", "courses"), nil
}

// An Entry is a saved course and its file.
type Entry struct {
	*course.Known
	Path string
}

// List glances at all courses of a folder, in the order of their names. A folder that does not exist has none. What cannot be
// read is left out and told, a mistake each.
func List(folder string) ([]Entry, []error) {
	files, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, []error{fmt.Errorf("listing the saved courses: %w", err)}
	}
	var paths []string
	for _, f := range files {
		if strings.HasSuffix(f.Name(), ".json") && !f.IsDir() {
			paths = append(paths, filepath.Join(folder, f.Name()))
		}
	}
	all, wrong := make([]Entry, len(paths)), make([]error, len(paths))
	var workers sync.WaitGroup
	next := make(chan int)
	for range min(runtime.GOMAXPROCS(0), len(paths)) {
		workers.Go(func() {
			for i := range next {
				all[i], wrong[i] = Read(paths[i])
			}
		})
	}
	for i := range paths {
		next <- i
	}
	close(next)
	workers.Wait()
	all = slices.DeleteFunc(all, func(e Entry) bool { return e.Known == nil })
	slices.SortStableFunc(all, func(a, b Entry) int { return strings.Compare(a.Name, b.Name) })
	return all, slices.DeleteFunc(wrong, func(err error) bool { return err == nil })
}

// Read glances at one file.
func Read(path string) (Entry, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return Entry{}, fmt.Errorf("reading a saved course: %w", err)
	}
	k, err := course.Glance(path, data)
	if err != nil {
		return Entry{}, err
	}
	return Entry{k, path}, nil
}

// Find returns the course of that name, case aside.
func Find(folder, name string) (Entry, error) {
	all, _ := List(folder)
	var names []string
	for _, e := range all {
		if strings.EqualFold(e.Name, name) {
			return e, nil
		}
		names = append(names, e.Name)
	}
	if len(names) == 0 {
		return Entry{}, fmt.Errorf("%w: %s (none is saved in %s yet: earshot run saves them)", ErrNoCourse, name, folder)
	}
	return Entry{}, fmt.Errorf("%w: %s (there are: %s)", ErrNoCourse, name, strings.Join(names, ", "))
}

// Rename gives a course another name; its file follows.
func Rename(folder, from, to string) (Entry, error) {
	e, err := Find(folder, from)
	if err != nil {
		return Entry{}, err
	}
	if to = strings.TrimSpace(to); to == "" || len(to) > 100 || strings.ContainsFunc(to, unicode.IsControl) {
		return Entry{}, fmt.Errorf("a course cannot be called %q: use up to 100 letters, digits and spaces", to)
	}
	if other, err := Find(folder, to); err == nil && other.Path != e.Path {
		return Entry{}, fmt.Errorf("%w: %s (%s)", ErrTaken, to, other.Path)
	}
	s, err := e.Saved()
	if err != nil {
		return Entry{}, err
	}
	s.Map.Name = to
	old := e.Path
	path, err := free(folder, to, old)
	if err != nil {
		return Entry{}, err
	}
	if e, err = write(path, s); err != nil {
		return Entry{}, err
	}
	if path != old {
		if err := os.Remove(old); err != nil {
			return Entry{}, fmt.Errorf("removing the file of the old name: %w", err)
		}
	}
	return e, nil
}

// Forget removes a course.
func Forget(folder, name string) (Entry, error) {
	e, err := Find(folder, name)
	if err != nil {
		return Entry{}, err
	}
	if err := os.Remove(e.Path); err != nil {
		return Entry{}, fmt.Errorf("forgetting %s: %w", name, err)
	}
	return e, nil
}

// free returns a path in folder for a course of that name that no other course has; own may be its path already.
func free(folder, name, own string) (string, error) {
	base := strings.Trim(strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return '-'
	}, name), "-")
	if base == "" {
		base = "course"
	}
	for n := 1; n < 10000; n++ {
		path := filepath.Join(folder, base+".json")
		if n > 1 {
			path = filepath.Join(folder, fmt.Sprintf("%s-%d.json", base, n))
		}
		if _, err := os.Lstat(path); path == own || errors.Is(err, fs.ErrNotExist) {
			return path, nil
		}
	}
	return "", fmt.Errorf("saving %s: too many files of that name in %s", name, folder)
}

// write puts a course at path: beside it first, then moved there.
func write(path string, s course.Saved) (e Entry, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("saving the course: %w", err)
		}
	}()
	data, err := s.Encode()
	if err != nil {
		return e, err
	}
	k, err := course.Glance(path, data)
	if err != nil {
		return e, err
	}
	folder := filepath.Dir(path)
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return e, err
	}
	f, err := os.CreateTemp(folder, filepath.Base(path)+".*.part")
	if err != nil {
		return e, err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		_ = os.Remove(f.Name())
		return e, err
	}
	return Entry{k, path}, nil
}
