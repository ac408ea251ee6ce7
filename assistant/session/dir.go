package session

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"earshot/assistant/folder"
)

// The kinds of File that a session keeps.
const (
	FeedFile   = "feed"
	CarFile    = "car"
	CourseFile = "course"
	RulesFile  = "rules"

	IncludedFile = "included" // a file that the feed file refers to
	BestsFile    = "bests"    // the best laps of earlier sessions, and the lap to compare with
	KnownFile    = "known"    // the saved courses that could be recognised, a line each
)

// A File is a copy of a configuration file that was in force. The Name is a file name without folders.
type File struct {
	Kind string
	Name string
	Data []byte
}

// Errors to ask for.
var (
	ErrExists    = errors.New("the session exists already")
	ErrNoSession = errors.New("no such session")
)

// Root is the folder in which sessions are kept unless the user says otherwise: earshot/sessions in
// the platform's place for user data ($XDG_DATA_HOME or ~/.local/share; on Windows
// %LocalAppData%; on macOS ~/Library/Application Support).
func Root() (string, error) {
	dir, err := folder.Data()
	if err != nil {
		return "", fmt.Errorf("finding the folder for sessions: %w (name one with --sessions)", err)
	}
	return filepath.Join(dir, "sessions"), nil
}

// A Manifest is what session.json says: the facts of the start, written once.
type Manifest struct {
	ID      string   `json:"id"`
	Started string   `json:"started,omitempty"` // RFC 3339
	Program string   `json:"program,omitempty"`
	Feed    string   `json:"feed,omitempty"`
	Car     string   `json:"car,omitempty"`
	Course  string   `json:"course,omitempty"`
	Files   []string `json:"files,omitempty"` // inputs/KIND/NAME
}

// A Dir is the folder of one session.
type Dir struct {
	Path     string
	Manifest Manifest
}

// Journal is the path of the journal.
func (d *Dir) Journal() string { return filepath.Join(d.Path, "journal.jsonl") }

// Recording is the path of the recording.
func (d *Dir) Recording() string { return filepath.Join(d.Path, "recording.mcap") }

// Debrief is the path for the debrief as a page.
func (d *Dir) Debrief() string { return filepath.Join(d.Path, "debrief.html") }

// NewID makes an id from the time of the start that sorts by time and needs no quoting in a shell.
func NewID(started time.Time) string { return started.Format("20060102-150405") }

// Create makes the folder of a new session below root and puts the copies of files into it. Where
// m.ID is empty it is made from m.Started, with a number behind it if that is taken. An id that
// exists is ErrExists; nothing of an existing session is ever touched.
func Create(root string, m Manifest, files []File) (*Dir, error) {
	fresh := m.ID == ""
	if fresh {
		started, err := time.Parse(time.RFC3339, m.Started)
		if err != nil {
			return nil, fmt.Errorf("creating a session: it has neither an id nor a start (%q)", m.Started)
		}
		m.ID = NewID(started)
	}
	if err := checkID(m.ID); err != nil {
		return nil, err
	}
	if err := checkFiles(files); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(root, 0o755); err != nil {
		return nil, fmt.Errorf("creating the folder for sessions: %w", err)
	}
	base := m.ID
	for n := 2; ; n++ {
		err := os.Mkdir(filepath.Join(root, m.ID), 0o755)
		if err == nil {
			break
		}
		if !errors.Is(err, fs.ErrExist) {
			return nil, fmt.Errorf("creating the session's folder: %w", err)
		}
		if !fresh || n > 1000 {
			return nil, fmt.Errorf("%w: %s (choose another id, or remove that folder)", ErrExists, filepath.Join(root, m.ID))
		}
		m.ID = fmt.Sprintf("%s-%d", base, n)
	}
	d := &Dir{Path: filepath.Join(root, m.ID)}
	m.Files = nil
	for _, f := range files {
		rel := "inputs/" + f.Kind + "/" + f.Name
		m.Files = append(m.Files, rel)
		path := filepath.Join(d.Path, filepath.FromSlash(rel))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return nil, fmt.Errorf("keeping a copy of %s: %w", f.Name, err)
		}
		if err := os.WriteFile(path, f.Data, 0o644); err != nil {
			return nil, fmt.Errorf("keeping a copy of %s: %w", f.Name, err)
		}
	}
	d.Manifest = m
	text, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return nil, err
	}
	if err := os.WriteFile(filepath.Join(d.Path, manifestName), append(text, '\n'), 0o644); err != nil {
		return nil, fmt.Errorf("writing the session's manifest: %w", err)
	}
	return d, nil
}

const manifestName = "session.json"

// checkID keeps an id usable as a folder's name on every platform and as a word on a command line.
func checkID(id string) error {
	const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
	if id == "" || len(id) > 100 || strings.Trim(id, letters+"-_.") != "" || !strings.ContainsRune(letters, rune(id[0])) ||
		strings.HasSuffix(id, ".") {
		return fmt.Errorf("session id %q: use up to 100 letters, digits, '-', '_' and '.', beginning with a letter or digit",
			id)
	}
	if id == "last" {
		return fmt.Errorf("session id %q: this word stands for the newest session", id)
	}
	return nil
}

func checkFiles(files []File) error {
	var errs []error
	seen := map[string]bool{}
	for _, f := range files {
		key := strings.ToLower(f.Kind + "/" + f.Name)
		switch {
		case !slices.Contains([]string{FeedFile, CarFile, CourseFile, RulesFile, IncludedFile, BestsFile, KnownFile}, f.Kind):
			errs = append(errs, fmt.Errorf("keeping a copy of %q: %q is not feed, included, car, course, bests, known or rules",
				f.Name, f.Kind))
		case f.Name == "" || f.Name == "." || f.Name == ".." || strings.ContainsAny(f.Name, "/\\:\x00"):
			errs = append(errs, fmt.Errorf("keeping a copy of a %s file: %q is not a plain file name", f.Kind, f.Name))
		case seen[key]:
			errs = append(errs, fmt.Errorf("keeping copies of the %s files: two are called %q", f.Kind, f.Name))
		}
		seen[key] = true
	}
	return errors.Join(errs...)
}

// Files reads the copies back.
func (d *Dir) Files() ([]File, error) {
	var files []File
	var errs []error
	for _, rel := range d.Manifest.Files {
		parts := strings.Split(rel, "/")
		if len(parts) != 3 || parts[0] != "inputs" || checkFiles([]File{{Kind: parts[1], Name: parts[2]}}) != nil {
			errs = append(errs, fmt.Errorf("%s names %q, which is not a file of a session", filepath.Join(d.Path, manifestName),
				rel))
			continue
		}
		data, err := os.ReadFile(filepath.Join(d.Path, parts[0], parts[1], parts[2]))
		if err != nil {
			errs = append(errs, fmt.Errorf("reading a file of session %s: %w", d.Manifest.ID, err))
			continue
		}
		files = append(files, File{Kind: parts[1], Name: parts[2], Data: data})
	}
	return files, errors.Join(errs...)
}

// Open opens the folder of a session. Where its manifest is missing or cannot be read but a journal or
// recording is there, the Dir is returned together with the error.
func Open(path string) (*Dir, error) {
	d := &Dir{Path: path, Manifest: Manifest{ID: filepath.Base(path)}}
	text, err := os.ReadFile(filepath.Join(path, manifestName))
	if err == nil {
		err = json.Unmarshal(text, &d.Manifest)
		d.Manifest.ID = filepath.Base(path) // a folder that was renamed answers to its new name
	}
	if err == nil {
		return d, nil
	}
	for _, p := range []string{d.Journal(), d.Recording()} {
		if _, serr := os.Stat(p); serr == nil {
			return d, fmt.Errorf("the manifest of session %s cannot be read: %w", d.Manifest.ID, err)
		}
	}
	return nil, fmt.Errorf("%w: %s holds neither a manifest, a journal nor a recording", ErrNoSession, path)
}

// countLaps counts lap events without decoding the journal: a day has megabytes of it. Inside a JSON string
// the quotes would be escaped, so the pattern cannot stand in a text.
func countLaps(journal []byte) int { return bytes.Count(journal, []byte(`,"kind":"lap"`)) }
