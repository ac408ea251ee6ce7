package helper

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"earshot/assistant/hand"
	"earshot/assistant/health"
)

// A Health tells how a source is.
type Health struct {
	State health.State
	Text  string // for people
}

// ErrMissing says that the helper program is not installed.
var ErrMissing = errors.New("the helper program is missing")

// errSlow is the cause with which a process is ended that never got ready.
var errSlow = errors.New("it did not get ready in time")

// A Helper watches over one helper process: it starts it, reads its lines, and starts it again when it dies. Set the
// fields, then call Run once.
type Helper struct {
	Program string   // a name, looked up by Find, or a path
	Args    []string // before the keys
	Keys    []string // bound keys: the arguments of the program, and all that is handed on
	Env     []string // the environment of the process; nil: that of this one

	Line   func(hand.Line) // gets each press and release of the keys, each spoken command
	Health func(Health)    // gets each change for better or worse; may be nil

	// FirstWait is how long Run waits before the first restart; each further wait is twice as long, up to
	// LongestWait. After Settled of being ready the count begins anew. ReadyWithin is how long a process may take
	// to say that it is ready, Grace how long to end when asked. Zero: 0.5 s, 30 s, 10 s, 10 s, 2 s.
	FirstWait, LongestWait, Settled, ReadyWithin, Grace time.Duration
}

// Find looks for a helper program beside the running executable, then on the PATH. A name with a path separator is
// taken as it is. The error is an ErrMissing and says where it was looked for.
func Find(program string) (string, error) {
	if strings.ContainsRune(program, filepath.Separator) {
		if _, err := os.Stat(program); err != nil {
			return "", fmt.Errorf("%w: %w", ErrMissing, err)
		}
		return program, nil
	}
	name := program
	if runtime.GOOS == "windows" && filepath.Ext(name) == "" {
		name += ".exe"
	}
	if exe, err := os.Executable(); err == nil {
		beside := filepath.Join(filepath.Dir(exe), name)
		if info, err := os.Stat(beside); err == nil && info.Mode().IsRegular() {
			return beside, nil
		}
	}
	path, err := exec.LookPath(name)
	if err != nil {
		return "", fmt.Errorf("%w: %s is neither beside this program nor on the PATH; build or install it there", ErrMissing, name)
	}
	return path, nil
}

// CanWatchKeys tells why a global keyboard hook cannot work here, or nil: on Linux and the like it needs an X display.
func CanWatchKeys() error {
	if runtime.GOOS != "windows" && runtime.GOOS != "darwin" && os.Getenv("DISPLAY") == "" {
		return errors.New("no keyboard watch without an X display: DISPLAY is not set: start this program in a desktop session")
	}
	return nil
}

// Run keeps the process running until ctx is done, then ends it, waits for it and returns nil. Only when the
// program cannot be found does it return earlier, with an ErrMissing.
func (h *Helper) Run(ctx context.Context) error {
	path, err := Find(h.Program)
	if err != nil {
		return err
	}
	wait := h.firstWait()
	for ctx.Err() == nil {
		settled, why := h.once(ctx, path)
		if ctx.Err() != nil {
			return nil
		}
		if settled {
			wait = h.firstWait()
		}
		h.tell(Health{health.Lost, fmt.Sprintf("%s: %s; it is started again in %v", filepath.Base(path), why, wait)})
		timer := time.NewTimer(wait)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return nil
		}
		wait = min(2*wait, or(h.LongestWait, 30*time.Second))
	}
	return nil
}

func (h *Helper) firstWait() time.Duration { return or(h.FirstWait, 500*time.Millisecond) }

func or(d, fallback time.Duration) time.Duration {
	if d > 0 {
		return d
	}
	return fallback
}

func (h *Helper) tell(x Health) {
	if h.Health != nil {
		h.Health(x)
	}
}

// once runs the process once. settled tells whether it was ready long enough, why what ended it.
func (h *Helper) once(ctx context.Context, path string) (settled bool, why string) {
	name := filepath.Base(path)
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	cmd := exec.CommandContext(ctx, path, append(append([]string{}, h.Args...), h.Keys...)...)
	cmd.Env = h.Env
	stdin, err := cmd.StdinPipe()
	if err != nil {
		return false, err.Error()
	}
	cmd.Cancel = stdin.Close // the helper ends when its standard input does; Grace later it is killed
	cmd.WaitDelay = or(h.Grace, 2*time.Second)

	var ready time.Time
	var trouble string
	slow := time.AfterFunc(or(h.ReadyWithin, 10*time.Second), func() { cancel(errSlow) })
	defer slow.Stop()
	out := newSplitter(h.Keys, func(l hand.Line) {
		switch l.Kind {
		case hand.Ready:
			slow.Stop()
			if ready.IsZero() {
				ready = time.Now()
				h.tell(Health{health.OK, name + " listens"})
			}
		case hand.Trouble:
			trouble = l.Text
			h.tell(Health{health.Degraded, name + ": " + l.Text})
		default:
			h.Line(l)
		}
	}, func(n int) {
		if n == 1 {
			h.tell(Health{health.Degraded, name + " sends lines that are not of the key protocol; they are passed over"})
		}
	})
	stderr := &tail{}
	cmd.Stdout, cmd.Stderr = out, stderr
	if err := cmd.Start(); err != nil {
		return false, err.Error()
	}
	err = cmd.Wait()
	out.end() // from here on the callbacks above are not called any more
	switch {
	case errors.Is(context.Cause(ctx), errSlow):
		why = errSlow.Error()
	case err != nil:
		why = "it ended with " + err.Error()
	default:
		why = "it ended by itself"
	}
	if last := stderr.last(); trouble != "" {
		why += ": " + trouble
	} else if last != "" {
		why += ": " + last
	}
	return !ready.IsZero() && time.Since(ready) >= or(h.Settled, 10*time.Second), why
}

// A tail keeps the end of what a process writes to its standard error.
type tail struct {
	mu sync.Mutex
	b  []byte
}

const tailSize = 1024

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.b = append(t.b, p...)
	if len(t.b) > tailSize {
		t.b = append(t.b[:0], t.b[len(t.b)-tailSize:]...)
	}
	return len(p), nil
}

// last is the last line that is not empty.
func (t *tail) last() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	b := bytes.TrimSpace(t.b)
	return string(bytes.TrimSpace(b[bytes.LastIndexByte(b, '\n')+1:]))
}
