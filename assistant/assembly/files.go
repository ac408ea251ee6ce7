package assembly

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"earshot/assistant/folder"
	"earshot/configs"
	"earshot/configs/document"
	"earshot/rules"
)

// A Kind of file ships with Earshot, and a user's own file takes the place of one of the same name.
type Kind struct {
	folder string // below configs and below the user's configuration folder
	one    string // what one of them is called
}

// The kinds.
var (
	Feeds   = Kind{"feeds", "feed"}
	Cars    = Kind{"cars", "car"}
	Courses = Kind{"courses", "course"}
)

// Read returns the file that name means: a path where it looks like one, else NAME.yaml in the
// user's configuration folder, else the one that ships. shown is what errors in it are reported under.
func (k Kind) Read(name string) (data []byte, shown string, err error) {
	data, shown, _, err = k.find(name)
	return data, shown, err
}

// find also returns what reads the files in the same folder, by their path from there with slashes.
func (k Kind) find(name string) (data []byte, shown string, beside func(string) ([]byte, error), err error) {
	own := name
	if !isPath(name) {
		dir, err := os.UserConfigDir()
		if own = filepath.Join(dir, "earshot", k.folder, name+".yaml"); err != nil {
			own = ""
		}
	}
	data, err = readFile(own)
	if err == nil {
		return data, own, func(rel string) ([]byte, error) {
			return readFile(filepath.Join(filepath.Dir(own), filepath.FromSlash(rel)))
		}, nil
	}
	if isPath(name) || own != "" && !errors.Is(err, fs.ErrNotExist) {
		return nil, own, nil, fmt.Errorf("the %s file: %w", k.one, err)
	}
	shipped := func(rel string) ([]byte, error) { return configs.Files.ReadFile(path.Join(k.folder, rel)) }
	if data, err = shipped(name + ".yaml"); err != nil {
		err = fmt.Errorf("there is no %s %q: give the path of a file, or one of %s", k.one, name,
			strings.Join(k.names(), ", "))
	}
	return data, name + ".yaml", shipped, err
}

// isPath is true for a path and false for the name of a file.
func isPath(name string) bool {
	return strings.ContainsAny(name, `/\`) || strings.HasSuffix(name, ".yaml") || strings.HasSuffix(name, ".yml")
}

// mostBytes bounds the size of a feed, car, course or DBC file.
const mostBytes = document.Largest

func readFile(name string) ([]byte, error) { return folder.ReadFile(name, mostBytes) }

// names lists the files of this kind that can be meant by name.
func (k Kind) names() []string {
	var names []string
	add := func(entries []fs.DirEntry) {
		for _, e := range entries {
			if base, ok := strings.CutSuffix(e.Name(), ".yaml"); ok && !slices.Contains(names, base) {
				names = append(names, base)
			}
		}
	}
	entries, _ := configs.Files.ReadDir(k.folder)
	add(entries)
	if dir, err := os.UserConfigDir(); err == nil {
		entries, _ := os.ReadDir(filepath.Join(dir, "earshot", k.folder))
		add(entries)
	}
	slices.Sort(names)
	return names
}

// Bounds of the rules: what ships has 30 KiB, and a recording has to hold each change of them.
const (
	mostRules    = 1 << 20 // bytes of one file
	mostAllRules = 3 << 20 // of all together
)

// ruleFiles returns the rules in force: those that ship, then the user's configuration folder, then the files and
// folders named. A later rule takes the place of an earlier one of the same name.
func ruleFiles(extra []string) ([]rules.Source, error) {
	shipped, err := rulesIn(configs.Files, "rules", "")
	if err != nil {
		return nil, err
	}
	all := shipped
	if dir, err := os.UserConfigDir(); err == nil {
		own := filepath.Join(dir, "earshot", "rules")
		if _, err := os.Stat(own); err == nil {
			extra = append([]string{own}, extra...)
		}
	}
	for _, name := range extra {
		info, err := os.Stat(name)
		if err != nil {
			return nil, fmt.Errorf("the rules: %w", err)
		}
		if info.IsDir() {
			more, err := rulesIn(os.DirFS(name), ".", name)
			if err != nil {
				return nil, err
			}
			if len(more) == 0 {
				return nil, fmt.Errorf("the rules: there is no .yaml file in %s", name)
			}
			all = append(all, more...)
			continue
		}
		data, err := folder.ReadFile(name, mostRules)
		if err != nil {
			return nil, fmt.Errorf("the rules: %w", err)
		}
		all = append(all, rules.Source{Name: name, Data: data})
	}
	size := 0
	for _, f := range all {
		if size += len(f.Data); size > mostAllRules {
			return nil, fmt.Errorf("the rules: %s is one file too many: all together may have %d KiB", f.Name,
				mostAllRules>>10)
		}
	}
	return all, nil
}

// rulesIn reads the rule files of one folder in the order of their names. A file of tests (…_test.yaml) is no rule
// file.
func rulesIn(fsys fs.FS, within, shownBelow string) ([]rules.Source, error) {
	entries, err := fs.ReadDir(fsys, within)
	if err != nil {
		return nil, fmt.Errorf("the rules: %w", err)
	}
	var all []rules.Source
	for _, e := range entries {
		if e.IsDir() || !strings.HasSuffix(e.Name(), ".yaml") || strings.HasSuffix(e.Name(), "_test.yaml") {
			continue
		}
		data, err := folder.Read(fsys, path.Join(within, e.Name()), mostRules)
		if err != nil {
			return nil, fmt.Errorf("the rules: %s: %w", shownBelow, err)
		}
		shown := e.Name()
		if shownBelow != "" {
			shown = filepath.Join(shownBelow, e.Name())
		}
		all = append(all, rules.Source{Name: shown, Data: data})
	}
	return all, nil
}
