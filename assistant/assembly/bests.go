package assembly

import (
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"

	"earshot/assistant/folder"
	"earshot/assistant/session"
	"earshot/assistant/timing"
)

// bestsPath is the file for a car on a course. The sum keeps names apart that look alike in plain letters.
func bestsPath(root, course, car string) string {
	sum := crc32.ChecksumIEEE([]byte(course + "\x00" + car))
	return filepath.Join(root, fmt.Sprintf("%.40s_%.40s_%08x.json", folder.Plain(course), folder.Plain(car), sum))
}

// readBests reads the best laps of a car on a course; there may be none yet.
func readBests(path, course, car string) (*timing.Bests, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return noBests(course, car), nil
	}
	if err != nil {
		return nil, fmt.Errorf("the best laps so far: %w", err)
	}
	b, err := timing.ParseBests(data)
	if err == nil && (b.Course != course || b.Car != car) {
		err = fmt.Errorf("it is of %s on %s", b.Car, b.Course)
	}
	if err != nil {
		return nil, fmt.Errorf("the best laps so far: %s: %w (mend or remove the file; until then no best lap of "+
			"this course is known or kept)", path, err)
	}
	return b, nil
}

// findBests reads the best laps and the lap to compare with. They are inputs like the files, so that a recording holds
// them; a recording keeps its own. What cannot be read is told and left alone, and does not end the run.
func (p *Parts) findBests(r Request) error {
	root, err := r.BestsFolder()
	if err != nil {
		return err
	}
	var list []*timing.Bests // of the course file or of a course without a name yet, then of saved courses
	if p.in.bests != nil {
		for i, line := range bytes.Split(bytes.TrimSpace(p.in.bests.Data), []byte{'\n'}) {
			one, err := timing.ParseBests(line)
			if err != nil {
				return fmt.Errorf("%s:%d: %w", p.in.bests.Name, i+1, err)
			}
			list = append(list, one)
		}
	} else if r.Recorded == nil && root != "" {
		list = append(list, p.readOrTell(root, p.CourseName()))
	}
	if p.folder != "" && p.Course == nil && len(list) > 0 && root != "" {
		list = list[:1]
		for _, k := range p.Known {
			if b := p.readOrTell(root, k.Name); len(b.Compounds) > 0 {
				list = append(list, b)
			}
		}
	}
	if r.Reference != "" && r.named("reference") {
		trace, err := referenceLap(r.Config)
		if err != nil {
			return fmt.Errorf("the lap to compare with, %s: %w", r.Reference, err)
		}
		if len(list) == 0 {
			list = append(list, noBests("", p.Car.Name))
		}
		list[0].Reference = trace
	}
	if len(list) == 0 {
		return nil
	}
	return p.holdBests(list)
}

// readOrTell reads the best laps on a course; there are none on one without a name.
func (p *Parts) readOrTell(root, course string) *timing.Bests {
	if course != "" {
		b, err := readBests(bestsPath(root, course, p.Car.Name), course, p.Car.Name)
		if err == nil {
			return b
		}
		p.tell(err.Error())
	}
	return noBests(course, p.Car.Name)
}

func noBests(course, car string) *timing.Bests {
	return &timing.Bests{Version: timing.BestsVersion, Course: course, Car: car, Compounds: map[string]*timing.Best{}}
}

// holdBests puts best laps in force: those of the course file or of a course that has no name yet, then those of saved
// courses, a line each.
func (p *Parts) holdBests(list []*timing.Bests) error {
	var text []byte
	if p.Course == nil {
		p.bestsOf = map[string]*timing.Bests{}
	}
	for i, b := range list {
		data, err := b.Encode()
		if err != nil {
			return err
		}
		text = append(text, data...)
		if b, err = timing.ParseBests(data); err != nil { // what a replay will read, to the last bit
			return err
		}
		if i == 0 {
			p.Bests = b
		} else {
			p.bestsOf[b.Course] = b
		}
	}
	p.in.bests = &session.File{Kind: session.BestsFile, Name: "bests.jsonl", Data: text}
	return nil
}

func writeBests(path, course, car string, b *timing.Bests) error {
	there, err := readBests(path, course, car)
	if err != nil {
		return err // a file that cannot be read is not replaced
	}
	there.Merge(b)
	data, err := there.Encode()
	if err != nil {
		return err
	}
	return folder.Replace(path, data)
}

// RenameBests takes the best laps on a saved course along to its new name. What is under that name already is kept too.
func (c Config) RenameBests(from, to string) error {
	root, err := c.BestsFolder()
	if err != nil || root == "" || from == to {
		return err
	}
	files, err := filepath.Glob(filepath.Join(root, "*.json"))
	if err != nil {
		return err
	}
	var errs []error
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		b, err := timing.ParseBests(data)
		if err != nil || b.Course != from {
			continue // another course's, or not to be read: that is told when it is needed
		}
		b.Course = to
		if err = writeBests(bestsPath(root, to, b.Car), to, b.Car, b); err == nil {
			err = os.Remove(path)
		}
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}
