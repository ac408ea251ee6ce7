package session

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
)

// StateDir is the folder for what is kept from session to session: earshot in the platform's place for the state of
// programs ($XDG_STATE_HOME or ~/.local/state; on Windows and macOS where the sessions are).
func StateDir() (string, error) {
	return stateDir(runtime.GOOS, os.Getenv, os.UserHomeDir)
}

func stateDir(goos string, env func(string) string, home func() (string, error)) (string, error) {
	switch goos {
	case "windows", "darwin", "ios":
		sessions, err := root(goos, env, home)
		return filepath.Dir(sessions), err
	}
	if dir := env("XDG_STATE_HOME"); filepath.IsAbs(dir) { // the XDG base directory specification: a relative path is to be ignored
		return filepath.Join(dir, "earshot"), nil
	}
	h, err := home()
	if err != nil {
		return "", fmt.Errorf("finding the folder for what is kept: %w", err)
	}
	return filepath.Join(h, ".local", "state", "earshot"), nil
}

// Replace writes a small file so that after a crash at any moment either the old content is there or the new one: into a
// file beside it, waited for until it is on the medium, and renamed. The folder is made where it is missing.
func Replace(path string, data []byte) (err error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("writing %s: %w", path, err), os.Remove(f.Name()))
		}
	}()
	if _, err := f.Write(data); err != nil {
		return errors.Join(err, f.Close())
	}
	if err := f.Sync(); err != nil {
		return errors.Join(err, f.Close())
	}
	if err := f.Close(); err != nil {
		return err
	}
	if err := os.Chmod(f.Name(), 0o644); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
