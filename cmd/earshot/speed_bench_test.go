package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// bareReceiver is the least that a program does to receive datagrams.
const bareReceiver = `package main

import (
	"fmt"
	"net"
	"os"
)

func main() {
	a, err := net.ResolveUDPAddr("udp", os.Args[1])
	if err != nil {
		panic(err)
	}
	c, err := net.ListenUDP("udp", a)
	if err != nil {
		panic(err)
	}
	fmt.Println("listening")
	buf := make([]byte, 1<<16)
	for {
		if _, _, err := c.ReadFromUDPAddrPort(buf); err != nil {
			panic(err)
		}
	}
}
`

// startBare builds and starts it.
func startBare(t testing.TB, port int) *exec.Cmd {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "main.go"), []byte(bareReceiver), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "go.mod"), []byte("module bare\n\ngo 1.26\n"), 0o600))
	build := exec.Command("go", "build", "-o", built(dir, "bare"), ".")
	build.Dir = dir
	out, err := build.CombinedOutput()
	require.NoError(t, err, string(out))
	said := &lineLog{}
	cmd := exec.Command(built(dir, "bare"), fmt.Sprintf("127.0.0.1:%d", port))
	cmd.Stdout, cmd.Stderr = said, said
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	require.Eventually(t, func() bool { return strings.Contains(said.String(), "listening") }, 10*time.Second, 10*time.Millisecond,
		"said: %s", stringer{said})
	return cmd
}

// processorTime is what a process has used, user and system; by the scheduler's account in nanoseconds, since
// /proc/PID/stat counts in hundredths of a second, which is more than a bare receiver needs.
func processorTime(t testing.TB, pid int) time.Duration {
	t.Helper()
	tasks, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid))
	require.NoError(t, err)
	if len(tasks) == 0 {
		t.Skip("the system does not tell about the time of processes in /proc")
	}
	sum := int64(0)
	for _, task := range tasks {
		data, err := os.ReadFile(task)
		if err != nil {
			continue // the thread has ended
		}
		n, err := strconv.ParseInt(strings.Fields(string(data))[0], 10, 64)
		require.NoError(t, err)
		sum += n
	}
	return time.Duration(sum)
}

// The processor time of a live run at 360 Hz beside that of a process which receives the same datagrams at the same
// times and does nothing with them. What the other does here is all that Earshot costs.
func BenchmarkLive360Hz(b *testing.B) {
	b.Setenv("XDG_CONFIG_HOME", b.TempDir())
	const rate, seconds = 360, 10
	list := demoDatagrams(b, demoLoaded(b), seconds+3, rate)
	bin := buildPrograms(b)
	for b.Loop() {
		l := startLive(b, bin, "PULSE_SERVER=", "DISPLAY=", "EARSHOT_DEVICE=silent")
		barePort := freePort(b)
		bare := startBare(b, barePort)
		to := make([]*net.UDPConn, 2)
		for i, port := range []int{l.port, barePort} {
			c, err := net.DialUDP("udp", nil, &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1), Port: port})
			require.NoError(b, err)
			defer c.Close()
			to[i] = c
		}
		var ours, theirs time.Duration
		begun := time.Now()
		sent, warm := 0, 0
		for i, p := range list {
			if p[4] == 1 { // the motion of the car sets the pace, the other kinds come with it
				sent++
				time.Sleep(time.Until(begun.Add(time.Duration(sent) * time.Second / rate)))
			}
			if sent == 2*rate && ours == 0 { // both are up and warm
				ours, theirs, warm = processorTime(b, l.run.Process.Pid), processorTime(b, bare.Process.Pid), i
			}
			for _, c := range to {
				_, err := c.Write(p)
				require.NoError(b, err)
			}
			if sent == (seconds+2)*rate {
				ours, theirs = processorTime(b, l.run.Process.Pid)-ours, processorTime(b, bare.Process.Pid)-theirs
				b.ReportMetric(float64(ours)/float64(theirs), "x-of-bare-receiver")
				b.ReportMetric(ours.Seconds()/seconds*100, "%cpu")
				b.ReportMetric(theirs.Seconds()/seconds*100, "%cpu-bare")
				b.ReportMetric(float64(i-warm)/seconds, "datagrams/s")
				break
			}
		}
		b.ReportMetric(0, "ns/op")
		_ = l.run.Process.Kill()
		_ = bare.Process.Kill()
	}
}
