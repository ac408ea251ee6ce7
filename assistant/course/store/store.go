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
	"earshot/assistant/folder"
)

// The errors that callers ask for.
var (
	ErrNoCourse = errors.New("there is no saved course of that name")
	ErrTaken    = errors.New("there is a saved course of that name already")
)

// Root is the folder for saved courses unless the user says otherwise: courses in folder.State.
func Root() (string, error) {
	dir, err := folder.State()
	if err != nil {
		return "", fmt.Errorf("finding the folder for saved courses: %w (name one with --courses)", err)
	}
	return filepath.Join(dir, "courses"), nil
}

// An Entry is a saved course and its file.
type Entry struct {
	*course.Known
	Path string
}

// List reads the heads of all courses of a folder, in the order of their names. A folder that does not exist has none.
// A file that cannot be read is left out and is one mistake.
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

// Read reads the head of one file.
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

// Find returns the course of that name, in upper or lower case.
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
		return Entry{}, fmt.Errorf("%w: %s (none is saved in %s yet: earshot run saves them)", ErrNoCourse, name,
			folder)
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
func free(dir, name, own string) (string, error) {
	base := folder.Plain(name)
	if base == "" {
		base = "course"
	}
	for n := 1; n < 10000; n++ {
		path := filepath.Join(dir, base+".json")
		if n > 1 {
			path = filepath.Join(dir, fmt.Sprintf("%s-%d.json", base, n))
		}
		if _, err := os.Lstat(path); path == own || errors.Is(err, fs.ErrNotExist) {
			return path, nil
		}
	}
	return "", fmt.Errorf("saving %s: too many files of that name in %s", name, dir)
}

// write writes a course beside path and then moves it there.
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
	if err := folder.Replace(path, data); err != nil {
		return e, err
	}
	return Entry{k, path}, nil
}
