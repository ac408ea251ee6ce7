// Package folder finds the folders of the user's files on each platform, and writes small files whole.
//
// It never interprets what is in a file.
package folder

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
)

// Data is the folder for what the user owns: earshot in the platform's place for data ($XDG_DATA_HOME or
// ~/.local/share; on Windows %LocalAppData%; on macOS ~/Library/Application Support).
func Data() (string, error) {
	return of(runtime.GOOS, os.Getenv, os.UserHomeDir, "XDG_DATA_HOME", filepath.Join(".local", "share"))
}

// State is the folder for what is kept from session to session: likewise for the state of programs ($XDG_STATE_HOME or
// ~/.local/state).
func State() (string, error) {
	return of(runtime.GOOS, os.Getenv, os.UserHomeDir, "XDG_STATE_HOME", filepath.Join(".local", "state"))
}

func of(goos string, env func(string) string, home func() (string, error), variable, below string) (string, error) {
	base := ""
	switch goos {
	case "windows":
		base, below = env("LocalAppData"), filepath.Join("AppData", "Local")
	case "darwin", "ios":
		below = filepath.Join("Library", "Application Support")
	default:
		// The XDG base directory specification: a relative path is to be ignored.
		if dir := env(variable); filepath.IsAbs(dir) {
			base = dir
		}
	}
	if base == "" {
		h, err := home()
		if err != nil {
			return "", err
		}
		base = filepath.Join(h, below)
	}
	return filepath.Join(base, "earshot"), nil
}

// Plain makes a name of plain letters, digits and dashes, for a file. Different names may become the same.
func Plain(name string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return '-'
	}, name), "-")
}

// Argument writes a path so that it can be copied into a command line.
func Argument(path string) string {
	plain := !strings.ContainsFunc(path, func(r rune) bool {
		letter := 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9'
		return !letter && r != filepath.Separator && !strings.ContainsRune("._-+=:,@%/", r)
	})
	switch {
	case plain && path != "":
		return path
	case runtime.GOOS == "windows":
		return `"` + path + `"`
	}
	return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
}

// Read reads a file of at most so many bytes. A pipe or a device is refused: it may never begin or never end.
func Read(fsys fs.FS, name string, most int64) ([]byte, error) {
	info, err := fs.Stat(fsys, name)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is no plain file (%v): name one, or put one in its place", name, info.Mode().Type())
	}
	f, err := fsys.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(data)) > most {
		err = fmt.Errorf("%s has more than %d KiB: it is not what is wanted here, or has to be cut in parts", name,
			most>>10)
	}
	return data, err
}

// ReadFile is Read for a path of the system.
func ReadFile(path string, most int64) ([]byte, error) {
	data, err := Read(os.DirFS(filepath.Dir(path)), filepath.Base(path), most)
	if pe := (*fs.PathError)(nil); errors.As(err, &pe) {
		pe.Op, pe.Path = "open", path
	} else if err != nil {
		err = fmt.Errorf("%s: %w", filepath.Dir(path), err)
	}
	return data, err
}

// A File is written beside its place and put there when it is complete.
type File struct {
	*os.File
	path string
}

// Create begins the file that is to lie at path.
func Create(path string) (*File, error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return nil, err
	}
	return &File{f, path}, nil
}

// Finish puts the file in its place. After an error, of the writer or its own, it removes what was written instead and
// returns it.
func (f *File) Finish(err error) error {
	if err == nil {
		err = f.Chmod(0o644)
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), f.path)
	}
	if err != nil {
		err = errors.Join(err, os.Remove(f.Name()))
	}
	return err
}

// Replace writes a small file so that after a crash at any moment either the old content is there or the new one: into
// a file beside it, waited for until it is on the medium, and renamed. The folder is made where it is missing.
func Replace(path string, data []byte) error {
	err := os.MkdirAll(filepath.Dir(path), 0o755)
	if err == nil {
		var f *File
		if f, err = Create(path); err == nil {
			_, err = f.Write(data)
			if err == nil {
				err = f.Sync()
			}
			err = f.Finish(err)
		}
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}
