package session

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant/health"
	"earshot/assistant/journal"
)

// memory is a file whose disk can be made to fail.
type memory struct {
	mu     sync.Mutex
	data   []byte
	synced int // bytes that survive a power cut
	fail   error
	room   int // bytes that the disk takes before it fails; 0 is no limit
	closed bool
}

func (m *memory) WriteAt(p []byte, off int64) (int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		n := min(len(p), m.room)
		m.room -= n
		m.data = append(m.data[:off], p[:n]...)
		return n, m.fail
	}
	m.data = append(m.data[:off], p...)
	return len(p), nil
}

func (m *memory) Sync() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return m.fail
	}
	m.synced = len(m.data)
	return nil
}

func (m *memory) Truncate(n int64) error { return nil }
func (m *memory) Close() error           { m.closed = true; return nil }

func (m *memory) set(fail error, room int) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fail, m.room = fail, room
}

func (m *memory) safe() []byte {
	m.mu.Lock()
	defer m.mu.Unlock()
	return bytes.Clone(m.data[:m.synced])
}

// kept is what survives the end of the program, though not a power cut.
func (m *memory) kept() []byte {
	m.mu.Lock()
	defer m.mu.Unlock()
	return bytes.Clone(m.data)
}

type told struct {
	mu   sync.Mutex
	errs []error
}

func (r *told) report(_ health.Part, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.errs = append(r.errs, err)
}

func command(t float64, name string) journal.Event {
	return journal.Event{T: t, Lap: 1, Distance: journal.Unknown, Body: &journal.Command{Name: name, Source: "key"}}
}

func mark(t float64) journal.Event {
	m := journal.NewMark()
	m.Number = 1
	return journal.Event{T: t, Lap: 1, Distance: journal.Unknown, Body: m}
}

func times(t *testing.T, b []byte) []float64 {
	t.Helper()
	events, err := journal.Read(bytes.NewReader(b))
	require.NoError(t, err)
	var ts []float64
	for _, e := range events {
		ts = append(ts, e.T)
	}
	return ts
}

func TestJournalIsOnDiskWithinASecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &memory{}
		w := startJournal(disk, journalQueue, nil)
		begin := time.Now()
		for i := range 40 { // an event every 90 ms
			require.NoError(t, w.Append(command(time.Since(begin).Seconds(), "mute")))
			time.Sleep(90 * time.Millisecond)
			synctest.Wait()
			safe := times(t, disk.safe())
			old := 0 // events that are older than one second by now
			for j := range i + 1 {
				if time.Since(begin)-time.Duration(j)*90*time.Millisecond > time.Second {
					old++
				}
			}
			require.GreaterOrEqual(t, len(safe), old)
		}
		require.NoError(t, w.Close())
		require.Len(t, times(t, disk.safe()), 40)
		require.True(t, disk.closed)
	})
}

func TestMarkIsOnDiskAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &memory{}
		w := startJournal(disk, journalQueue, nil)
		require.NoError(t, w.Append(command(1, "mute")))
		synctest.Wait()
		require.Empty(t, disk.safe(), "no clock has moved, and a command can wait")
		require.NoError(t, w.Append(mark(2)))
		synctest.Wait() // no time passes: only goroutines run until all of them wait
		require.Equal(t, []float64{1, 2}, times(t, disk.safe()))
		require.NoError(t, w.Close())
	})
}

// The disk is full in the middle of a line, and later it is not: nothing is lost, nothing is written
// twice, and each change is told once.
func TestJournalSurvivesAFullDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk, said := &memory{}, &told{}
		w := startJournal(disk, journalQueue, said.report)
		full := errors.New("no space left on device")
		for i := range 20 {
			switch i {
			case 5:
				disk.set(full, 17)
			case 15:
				disk.set(nil, 0)
			}
			require.NoError(t, w.Append(command(float64(i), "mute")))
			time.Sleep(time.Second)
		}
		require.NoError(t, w.Close())
		require.Len(t, times(t, disk.safe()), 20)
		require.Equal(t, []error{full, nil}, said.errs)
	})
}

func TestJournalGivesUpWhatHasNoRoomAndSaysSo(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		disk := &memory{}
		full := errors.New("no space left on device")
		disk.set(full, 0)
		w := startJournal(disk, 200, nil)
		time.Sleep(600 * time.Millisecond)
		refused := 0
		for i := range 100 {
			if err := w.Append(command(float64(i), "mute")); err != nil {
				require.ErrorIs(t, err, ErrFull)
				refused++
			}
			time.Sleep(100 * time.Millisecond)
		}
		require.Equal(t, w.Lost(), refused, "never silently")
		require.Positive(t, w.Lost())
		err := w.Close()
		require.ErrorIs(t, err, full)
		require.ErrorContains(t, err, "the journal lacks")
	})
}

func countLines(t *testing.T, path string) int {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return bytes.Count(text, []byte{'\n'})
}

func TestJournalWriterOnARealFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.jsonl")
	w, err := NewJournalWriter(path, nil)
	require.NoError(t, err)
	require.NoError(t, w.Append(command(1, "mute")))
	require.Eventually(t, func() bool { return countLines(t, path) == 1 }, 20*time.Second, 10*time.Millisecond, "it is on disk soon")
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			for j := range 100 {
				_ = w.Append(command(float64(i*100+j), "ask"))
			}
		})
	}
	wg.Wait()
	require.NoError(t, w.Close())
	require.ErrorIs(t, w.Close(), ErrClosed)
	require.ErrorIs(t, w.Append(command(2, "late")), ErrClosed)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Len(t, times(t, text), 801)

	_, err = NewJournalWriter(path, nil)
	require.ErrorIs(t, err, os.ErrExist, "a journal is never overwritten")
	_, err = NewJournalWriter(filepath.Join(t.TempDir(), "no", "such", "folder"), nil)
	require.ErrorContains(t, err, "creating the journal")
}
