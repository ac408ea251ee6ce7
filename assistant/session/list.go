package session

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// A Summary is a session as a list shows it.
type Summary struct {
	Dir     *Dir
	Started time.Time // zero where it is not known
	Laps    int       // completed, of any class
	Problem string    // what is wrong with the folder, if anything
}

// List returns the sessions below root, the newest first. A root that does not exist has none.
func List(root string) ([]Summary, error) {
	entries, err := os.ReadDir(root)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("listing the sessions: %w", err)
	}
	var list []Summary
	for _, e := range entries {
		if !e.IsDir() {
			continue
		}
		d, err := Open(filepath.Join(root, e.Name()))
		if d == nil {
			continue // some other folder
		}
		s := Summary{Dir: d}
		if err != nil {
			s.Problem = err.Error()
		}
		if text, err := os.ReadFile(d.Journal()); err == nil {
			s.Laps = countLaps(text)
		}
		s.Started, _ = time.Parse(time.RFC3339, d.Manifest.Started)
		list = append(list, s)
	}
	slices.SortFunc(list, func(a, b Summary) int {
		return cmp.Or(b.Started.Compare(a.Started), cmp.Compare(b.Dir.Manifest.ID, a.Dir.Manifest.ID))
	})
	return list, nil
}

// Find returns the session that ref means: an id, the beginning of one, "last", or the path of a folder.
func Find(root, ref string) (*Dir, error) {
	if ref == "" {
		return nil, fmt.Errorf(`%w: say which: an id, its beginning, or "last"`, ErrNoSession)
	}
	if strings.ContainsAny(ref, `/\`) {
		d, err := Open(ref)
		if d == nil {
			return nil, err
		}
		return d, nil
	}
	list, err := List(root)
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("%w: %s is empty (a run or a demo makes the first one)", ErrNoSession, root)
	}
	if ref == "last" {
		return list[0].Dir, nil
	}
	var found []*Dir
	var ids []string
	for _, s := range list {
		id := s.Dir.Manifest.ID
		if id == ref {
			return s.Dir, nil
		}
		if strings.HasPrefix(id, ref) {
			found = append(found, s.Dir)
			ids = append(ids, id)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return nil, fmt.Errorf("%w: %q; the newest is %s", ErrNoSession, ref, list[0].Dir.Manifest.ID)
	}
	if len(ids) > 5 {
		ids = append(ids[:5], "…")
	}
	return nil, fmt.Errorf("%w: %q is the beginning of %d sessions: %s", ErrNoSession, ref, len(found),
		strings.Join(ids, ", "))
}
