package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"time"

	"earshot/assistant/assembly"
)

// A progressLine tells on a terminal where the drive is, below the cues. On anything else it writes nothing. It belongs
// to one goroutine, and everything else that is written to the same terminal goes through it.
type progressLine struct {
	w     io.Writer
	on    bool
	shown bool
	last  time.Time
}

// often is the time between two changes of the line: a terminal is slow, and so is the reader.
const often = 100 * time.Millisecond

func newProgressLine(w io.Writer) *progressLine { return &progressLine{w: w, on: isTerminal(w)} }

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0 && os.Getenv("TERM") != "dumb" && f.Name() != os.DevNull
}

// show writes the line anew where it is due.
func (p *progressLine) show(lap int, at float64, now time.Time) {
	if !p.on || now.Sub(p.last) < often {
		return
	}
	p.last, p.shown = now, true
	name := "out-lap"
	if lap > 0 {
		name = fmt.Sprintf("lap %d", lap)
	}
	fmt.Fprintf(p.w, "\r\x1b[K%8s  %s", assembly.Clock(at), name)
}

// Write takes the line away and writes p in its place.
func (p *progressLine) Write(b []byte) (int, error) {
	if p.shown {
		p.shown = false
		if _, err := io.WriteString(p.w, "\r\x1b[K"); err != nil {
			return 0, err
		}
	}
	return p.w.Write(b)
}

// openPage shows a file in the user's browser. It does not wait for it.
func openPage(ctx context.Context, path string) error {
	name, args := "xdg-open", []string{path}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", path}
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	if err := exec.CommandContext(ctx, name, args...).Run(); err != nil {
		return fmt.Errorf("opening %s: %s: %w (open it in a browser yourself)", path, name, err)
	}
	return nil
}
