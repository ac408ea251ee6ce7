package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// From the start of the process until it listens: reading and checking every file, opening voice, sound and source.
func BenchmarkStartUp(b *testing.B) {
	bin := buildPrograms(b)
	for _, args := range [][]string{{"check"}, {"run", "--device", "silent"}} {
		b.Run(strings.Join(args[:1], " "), func(b *testing.B) {
			for b.Loop() {
				dir := b.TempDir()
				// The source ends at once, so run listens and ends.
				feed := filepath.Join(dir, "feed.yaml")
				require.NoError(b, os.WriteFile(feed, []byte("name: none\ntransport: {kind: stdin}\ncodec: json\nchannels:\n  speed: "+
					"{path: v, unit: m/s}\n"), 0o600))
				cmd := exec.Command(built(bin, "earshot"), append(args, "--feed", feed)...)
				cmd.Env = append(os.Environ(), "XDG_CONFIG_HOME="+dir, "XDG_DATA_HOME="+dir, "DISPLAY=")
				out, err := cmd.CombinedOutput()
				require.NoError(b, err, string(out))
			}
		})
	}
}

// The memory and the processor time of a live run at the demo's 60 Hz (three kinds of datagrams), as the system counts
// them.
func BenchmarkLive60Hz(b *testing.B) {
	bin := buildPrograms(b)
	for b.Loop() {
		l := startLive(b, bin, "PULSE_SERVER=", "DISPLAY=", "EARSHOT_DEVICE=silent")
		l.send()
		begun := time.Now()
		time.Sleep(20 * time.Second) // what is measured takes its time
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", l.run.Process.Pid))
		if err != nil {
			b.Skip("the system does not tell about processes in /proc")
		}
		stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", l.run.Process.Pid))
		require.NoError(b, err)
		fields := strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')'):]))
		user, _ := strconv.ParseFloat(fields[12], 64)
		system, _ := strconv.ParseFloat(fields[13], 64)
		const ticks = 100 // a second, the kernel's USER_HZ
		b.ReportMetric((user+system)/ticks/time.Since(begun).Seconds()*100, "%cpu")
		for _, line := range lines(string(status)) {
			if kb, ok := strings.CutPrefix(line, "VmRSS:"); ok {
				n, _ := strconv.ParseFloat(strings.Fields(kb)[0], 64)
				b.ReportMetric(n/1024, "MB-resident")
			}
		}
		_ = l.run.Process.Kill()
		l.stopSending()
	}
}
