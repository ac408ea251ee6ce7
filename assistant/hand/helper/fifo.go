package helper

import (
	"context"
	"errors"
	"fmt"
	"os"

	"earshot/assistant/hand"
)

// ReadFIFO reads lines of the protocol from a named pipe until ctx is done, whoever writes to it and however often, and returns nil. Its error
// says what is wrong with the path.
func ReadFIFO(ctx context.Context, path string, keys []string, to func(hand.Line)) error {
	info, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("the named pipe for presses: %w; make it with mkfifo", err)
	}
	if info.Mode()&os.ModeNamedPipe == 0 {
		return fmt.Errorf("the named pipe for presses: %s is no named pipe; make one with mkfifo", path)
	}
	// Opened for writing as well it neither blocks until somebody writes nor ends when somebody stops.
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return fmt.Errorf("the named pipe for presses: %w", err)
	}
	stop := context.AfterFunc(ctx, func() { f.Close() })
	defer stop()
	defer f.Close()
	if _, err := Read(f, keys, to); err != nil && !errors.Is(err, os.ErrClosed) {
		return fmt.Errorf("the named pipe for presses: %w", err)
	}
	return nil
}
