//go:build linux

package session

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/health"
	"earshot/assistant/journal"
)

// The program that the kill test kills: it records as fast as it may, each sample and each event numbered, and says when it has handed over how many.
func TestRecordUntilKilled(t *testing.T) {
	dir := os.Getenv("EARSHOT_TEST_RECORD_INTO")
	if dir == "" {
		t.Skip("this is the other half of TestKilledAtAnyTime")
	}
	r, err := NewRecorder(filepath.Join(dir, "r.mcap"), testHead(20), Options{})
	require.NoError(t, err)
	j, err := NewJournalWriter(filepath.Join(dir, "j.jsonl"), nil)
	require.NoError(t, err)
	row := make(channel.Row, 20)
	for n := 1; ; n++ {
		for i := range row {
			row[i] = float64(n) + float64(i)/64
		}
		r.Sample(float64(n), row)
		if n%10 == 0 {
			e := journal.Event{T: float64(n), Lap: 1, Distance: journal.Unknown, Body: &journal.Command{Name: "mark"}}
			require.NoError(t, j.Append(e))
			require.NoError(t, r.Event(e))
		}
		fmt.Println("handed", n, time.Now().UnixNano())
		time.Sleep(2 * time.Millisecond)
	}
}

// A real SIGKILL, at ten random times: what was handed over more than a second before is there, in order, bit for
// bit; what is missing is told; the journal is as good.
func TestKilledAtAnyTime(t *testing.T) {
	type run struct {
		dir    string
		cmd    *exec.Cmd
		out    *os.File
		killed time.Time
	}
	var runs []*run
	for range 10 {
		r := &run{dir: t.TempDir()}
		var err error
		r.out, err = os.Create(filepath.Join(r.dir, "out"))
		require.NoError(t, err)
		r.cmd = exec.Command(os.Args[0], "-test.run=^TestRecordUntilKilled$", "-test.v")
		r.cmd.Env = append(os.Environ(), "EARSHOT_TEST_RECORD_INTO="+r.dir)
		r.cmd.Stdout = r.out
		require.NoError(t, r.cmd.Start())
		runs = append(runs, r)
	}
	done := make(chan *run)
	for _, r := range runs {
		go func() {
			time.Sleep(1500*time.Millisecond + rand.N(1500*time.Millisecond))
			r.killed = time.Now()
			_ = r.cmd.Process.Kill()
			_ = r.cmd.Wait()
			done <- r
		}()
	}
	for range runs {
		r := <-done
		require.Equal(t, syscall.SIGKILL, r.cmd.ProcessState.Sys().(syscall.WaitStatus).Signal(), "it ended by the signal, not by itself")
		text, err := os.ReadFile(r.out.Name())
		require.NoError(t, err)
		require.NoError(t, r.out.Close())
		// It hands over every 2 ms. Where it did not, the machine had no time for it, nor for what writes beside it: so long
		// may the promise of a second be late.
		var handed []time.Time
		held := 300 * time.Millisecond
		for line := range strings.Lines(string(text)) {
			var n int
			var ns int64
			if c, _ := fmt.Sscanf(line, "handed %d %d\n", &n, &ns); c == 2 {
				at := time.Unix(0, ns)
				if len(handed) > 0 {
					held = max(held, 2*at.Sub(handed[len(handed)-1]))
				}
				require.Equal(t, len(handed)+1, n)
				handed = append(handed, at)
			}
		}
		old := 0 // handed over so long ago that it must be there
		for i, at := range handed {
			if r.killed.Sub(at) > time.Second+held {
				old = i + 1
			}
		}
		rec, err := OpenRecording(filepath.Join(r.dir, "r.mcap"))
		require.NoError(t, err)
		events, n := 0, 0
		rec.OnEvent = func([]byte) { events++ }
		for {
			e, err := rec.Next()
			if err == io.EOF {
				break
			}
			require.NoError(t, err)
			n++
			require.Equal(t, uint64(n), e.Seq)
			require.Equal(t, float64(n)+19.0/64, e.Row[19])
		}
		require.GreaterOrEqual(t, n, old)
		require.GreaterOrEqual(t, events, old/10)
		require.False(t, rec.Closed)
		require.Contains(t, rec.Loss().String(), "not closed")
		require.Zero(t, rec.Loss().Damaged)
		require.NoError(t, rec.Close())
		f, err := os.Open(filepath.Join(r.dir, "j.jsonl"))
		require.NoError(t, err)
		lines, err := journal.Read(f)
		if err != nil {
			require.ErrorIs(t, err, journal.ErrTorn)
		}
		require.NoError(t, f.Close())
		require.GreaterOrEqual(t, len(lines), old/10)
		t.Logf("killed after %d samples were due: %d and %d events are there", old, n, events)
	}
}

// smallDisk mounts a disk of so many bytes, or skips where that is not allowed.
func smallDisk(t *testing.T, size int) (dir string, resize func(int)) {
	dir = t.TempDir()
	option := func(n int) string { return "size=" + strconv.Itoa(n) }
	if err := syscall.Mount("earshot-test", dir, "tmpfs", 0, option(size)); err != nil {
		t.Skipf("a small disk cannot be mounted here (%v)", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(dir, 0)) })
	return dir, func(n int) {
		require.NoError(t, syscall.Mount("earshot-test", dir, "tmpfs", syscall.MS_REMOUNT, option(n)))
	}
}

// noise cannot be compressed: it fills a disk quickly.
func noise(rnd *rand.Rand, row channel.Row) {
	for i := range row {
		row[i] = rnd.Float64()
	}
}

// A disk that is really full, with nothing kept for the journal: the recording stops at the first byte that is refused and goes on when
// there is room, and not an entry is missing, since all of it could wait in memory.
func TestAFullDiskLeavesNoHoleWhereMemoryHolds(t *testing.T) {
	dir, resize := smallDisk(t, 1<<20)
	f, err := create(filepath.Join(dir, "r.mcap"))
	require.NoError(t, err)
	said := make(chan error, 10)
	r, err := startRecorder(f, testHead(50), Options{Wait: true, Report: func(_ health.Part, err error) { said <- err }})
	require.NoError(t, err)
	rnd := rand.New(rand.NewPCG(3, 4))
	var inputs []input
	give := func(n int) {
		for range n {
			in := input{at: float64(len(inputs)), kind: KindSample, row: make(channel.Row, 50)}
			noise(rnd, in.row)
			in.give(t, r)
			inputs = append(inputs, in)
		}
		r.chunkNow()
	}
	give(5000) // 2 MB
	require.ErrorIs(t, <-said, syscall.ENOSPC)
	give(100)
	resize(16 << 20)
	give(100)
	require.NoError(t, <-said, "well again")
	require.NoError(t, r.Close())
	require.Empty(t, said, "each told once")
	whole, err := os.ReadFile(filepath.Join(dir, "r.mcap"))
	require.NoError(t, err)
	n, rec := readAll(t, whole, inputs)
	require.Equal(t, len(inputs), n)
	require.Empty(t, rec.Loss().String())
}

// The recording leaves the last megabytes to the journal, which goes on; with room again the recording goes on, and
// what had to be given up meanwhile is a gap that is told.
func TestANearlyFullDiskIsLeftToTheJournal(t *testing.T) {
	dir, resize := smallDisk(t, keepFree+1<<20)
	recording, other := make(chan error, 10), make(chan error, 10)
	r, err := NewRecorder(filepath.Join(dir, "r.mcap"), testHead(50), Options{Wait: true, Report: func(_ health.Part, err error) { recording <- err }})
	require.NoError(t, err)
	j, err := NewJournalWriter(filepath.Join(dir, "j.jsonl"), func(_ health.Part, err error) { other <- err })
	require.NoError(t, err)
	rnd := rand.New(rand.NewPCG(5, 6))
	row := make(channel.Row, 50)
	given := uint64(0)
	give := func(n int) {
		for range n {
			given++
			noise(rnd, row)
			r.Sample(float64(given), row)
			if given%200 == 0 {
				r.chunkNow()
			}
		}
		r.chunkNow()
	}
	give(6000)
	var full *FullError
	require.ErrorAs(t, <-recording, &full)
	require.Less(t, full.Free, int64(keepFree))
	for i := range 2000 {
		require.NoError(t, j.Append(journal.Event{T: float64(i), Lap: 1, Distance: journal.Unknown, Body: &journal.Command{Name: "mark"}}))
	}
	require.Eventually(t, func() bool { return countLines(t, filepath.Join(dir, "j.jsonl")) == 2000 }, 20*time.Second, 10*time.Millisecond,
		"the journal goes on")
	give(45000) // more than waits in memory
	require.Empty(t, recording, "told once")
	resize(64 << 20)
	give(1000)
	require.NoError(t, <-recording)
	err = r.Close()
	var drop *DropError
	require.ErrorAs(t, err, &drop)
	require.Positive(t, drop.Inputs)
	require.False(t, errors.As(err, new(*StoppedError)))
	require.NoError(t, j.Close())
	require.Empty(t, other)

	rec, err := OpenRecording(filepath.Join(dir, "r.mcap"))
	require.NoError(t, err)
	n, last := uint64(0), uint64(0)
	for {
		e, err := rec.Next()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		n, last = n+1, e.Seq
	}
	require.NoError(t, rec.Close())
	require.Equal(t, given, last, "what came after is there")
	require.Equal(t, drop.Inputs, rec.Loss().Dropped)
	require.Equal(t, given, n+drop.Inputs)
	require.True(t, rec.Closed)
}

// Whoever stays full to the end closes all the same, and what is on disk replays.
func TestARecordingThatStaysStopped(t *testing.T) {
	dir, _ := smallDisk(t, keepFree+1<<20)
	recording := make(chan error, 10)
	r, err := NewRecorder(filepath.Join(dir, "r.mcap"), testHead(50), Options{Wait: true, Report: func(_ health.Part, err error) { recording <- err }})
	require.NoError(t, err)
	rnd, row := rand.New(rand.NewPCG(5, 6)), make(channel.Row, 50)
	for i := range 20000 { // 8 MB
		noise(rnd, row)
		r.Sample(float64(i), row)
		if i%200 == 199 {
			r.chunkNow()
		}
	}
	var stopped *StoppedError
	require.ErrorAs(t, r.Close(), &stopped)
	require.ErrorAs(t, stopped, new(*FullError))
	require.Len(t, recording, 1)
	rec, err := OpenRecording(filepath.Join(dir, "r.mcap"))
	require.NoError(t, err)
	n := 0
	for err = nil; err == nil; n++ {
		_, err = rec.Next()
	}
	require.Equal(t, io.EOF, err)
	require.Greater(t, n, 1000)
	require.Contains(t, rec.Loss().String(), "not closed")
	require.NoError(t, rec.Close())
}

// BenchmarkLive is what recording costs the processor in a live session: 100 channels, a chunk and a wait for the disk every
// 0.8 s, an event a second, a real file. The processor time is that of the whole process by getrusage, less that of
// the same loop without a recorder. To be met: 6 µs and 250 bytes a sample.
func BenchmarkLive(b *testing.B) {
	used := func() time.Duration {
		var u syscall.Rusage
		require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	for _, hz := range []int{60, 360} {
		b.Run(fmt.Sprintf("hz=%d", hz), func(b *testing.B) {
			var inputs []input
			for _, in := range drive(14400, 100) {
				if in.kind == KindSample {
					inputs = append(inputs, in)
				}
			}
			row := make(channel.Row, 100)
			var bare, recorded, disk time.Duration
			var size int64
			for b.Loop() {
				begin := used()
				for _, in := range inputs {
					copy(row, in.row)
				}
				bare += used() - begin
				path := filepath.Join(b.TempDir(), "r.mcap")
				f, err := create(path)
				require.NoError(b, err)
				timed := &timedFile{file: f, used: used}
				r, err := prepareRecorder(timed, testHead(100), Options{room: func() (int64, error) { return freeBytes(filepath.Dir(path)) }})
				require.NoError(b, err)
				begin = used()
				for i, in := range inputs {
					copy(row, in.row)
					r.Sample(in.at, row)
					if i%hz == hz-1 {
						require.NoError(b, r.Event(journal.Event{T: in.at, Lap: 3, Distance: 120, Body: &journal.Health{Part: "feed", State: "ok"}}))
					}
					if i%(hz*4/5) == hz*4/5-1 {
						r.put()
					}
				}
				recorded += used() - begin
				r.put()
				require.NoError(b, r.end())
				disk += timed.spent
				info, err := os.Stat(path)
				require.NoError(b, err)
				size += info.Size()
			}
			n := float64(b.N * len(inputs))
			b.ReportMetric(float64(size)/n, "B/sample")
			b.ReportMetric(float64((recorded-bare).Nanoseconds())/1000/n, "cpu-µs/sample")
			b.ReportMetric(float64(disk.Nanoseconds())/1000/n, "disk-µs/sample") // of these in write and sync
			b.ReportMetric(float64(recorded)/float64(max(bare, time.Microsecond)), "recorded/unrecorded")
		})
	}
}

// A timedFile adds up the processor time of writing and waiting for the disk.
type timedFile struct {
	file
	used  func() time.Duration
	spent time.Duration
}

func (f *timedFile) WriteAt(p []byte, off int64) (int, error) {
	begin := f.used()
	defer func() { f.spent += f.used() - begin }()
	return f.file.WriteAt(p, off)
}

func (f *timedFile) Sync() error {
	begin := f.used()
	defer func() { f.spent += f.used() - begin }()
	return f.file.Sync()
}
