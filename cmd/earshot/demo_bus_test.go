package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/assembly"
	"earshot/assistant/demo"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
	"earshot/configs"
)

// One process sends what a satellite receiver and a CAN bus would tell, another joins the two and finds the line, laps,
// corners and temperatures: near the truth that a third one writes down for the same drive. Nothing but the place is
// known to the receiver, and nothing of the place to the bus.
func TestReceiverBesideBusEndToEnd(t *testing.T) {
	bin := filepath.Join(buildPrograms(t), "earshot")
	dir := t.TempDir()
	earshot := func(args ...string) string {
		cmd := exec.Command(built(filepath.Dir(bin), "earshot"), args...)
		cmd.Dir, cmd.Env = dir, append(os.Environ(), "XDG_CONFIG_HOME="+dir, "XDG_DATA_HOME="+dir)
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, string(out))
		return string(out)
	}
	earshot("demo", "--seed", "4", "--laps", "4", "--send", "file:gps.nmea,file:can.log", "--as", "nmea,can")
	earshot("demo", "--seed", "4", "--laps", "4", "--write", "truth")
	earshot("replay", "gps=gps.nmea", "bus=can.log", "--feed", "demo-bus", "--course", "demo-bus", "--car", "demo", "--journal", "j.jsonl")

	var truth demo.Truth
	data, err := os.ReadFile(filepath.Join(dir, "truth", truthFile))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &truth))
	events, err := assembly.ReadJournal(filepath.Join(dir, "j.jsonl"))
	require.NoError(t, err)

	laps := 0
	for _, l := range bodies[*journal.Lap](events) {
		if l.Number == 0 {
			continue
		}
		laps++
		want := truth.Done[l.Number]
		require.Equal(t, want.Class, l.Class)
		// Fixes come every 0.1 s; on the straight the speed is so even that the crossing between two of them is good to
		// this.
		require.InDelta(t, want.Time, float64(l.Time), 0.01, "lap %d", l.Number)
		require.InEpsilon(t, truth.Course.Length, float64(l.Length), 0.005)
		for w := range 4 {
			require.InDelta(t, want.CarcassMean[w], float64(l.TyreTemperature[w]), 0.3, "lap %d wheel %d", l.Number, w)
			require.InDelta(t, want.PressureMean[w], float64(l.TyrePressure[w]), 0.3, "lap %d wheel %d", l.Number, w)
			require.Less(t, float64(l.BrakePeak[w]), want.DiscPeak[w]+1, "a mean of peaks is not above the highest")
			require.Greater(t, float64(l.BrakePeak[w]), 0.6*want.DiscPeak[w])
		}
		if l.Class == "flying" {
			require.InDelta(t, want.FuelUsed, float64(l.FuelUsed), 0.06) // told each half second, in which up to 25 ml burn
		}
	}
	require.Equal(t, 5, laps, "four laps and the in-lap")

	seen := map[int]int{}
	for _, e := range events {
		c, ok := e.Body.(*journal.Corner)
		if !ok || e.Lap < 2 || e.Lap > 4 {
			continue
		}
		seen[c.Number]++
		want := truth.Done[e.Lap].Corners[c.Number-1]
		require.Equal(t, want.Number, c.Number)
		require.Equal(t, truth.Course.Corners[c.Number-1].Name, c.Name)
		require.InDelta(t, want.MinSpeed, float64(c.MinSpeed), 0.5, "lap %d corner %d", e.Lap, c.Number)
	}
	require.Len(t, seen, len(truth.Course.Corners), "%v", seen)

	var told []string
	for _, c := range bodies[*journal.Cue](events) {
		if c.Verdict == "said" {
			told = append(told, c.Rule)
		}
	}
	for _, rule := range []string{"brakes-cold", "tyres-ready", "abs-changed", "chequered-flag"} {
		require.Contains(t, told, rule)
	}
	require.Empty(t, bodies[*journal.Health](events))
}

// Over two sockets at once, live: both sources are heard and the stint begins with what they tell together.
func TestReceiverBesideBusLive(t *testing.T) {
	bin, dir := buildPrograms(t), t.TempDir()
	gps, bus := freePort(t), freePort(t)
	for _, name := range []string{"demo-bus.yaml", "demo-bus.dbc"} {
		data, err := configs.Files.ReadFile("feeds/" + name)
		require.NoError(t, err)
		text := strings.NewReplacer("127.0.0.1:47123}", fmt.Sprintf("127.0.0.1:%d}", gps), "127.0.0.1:47125}",
			fmt.Sprintf("127.0.0.1:%d}", bus)).Replace(string(data))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	l := &live{t: t, bin: bin, sessions: t.TempDir(), out: &lineLog{}, err: &lineLog{}}
	start := func(out, errs *lineLog, args ...string) *exec.Cmd {
		cmd := exec.Command(built(bin, "earshot"), args...)
		cmd.Env = append(os.Environ(), "XDG_CONFIG_HOME="+dir, "XDG_DATA_HOME="+dir, "PULSE_SERVER=", "DISPLAY=", "EARSHOT_DEVICE=silent")
		cmd.Stdout, cmd.Stderr = out, errs
		require.NoError(t, cmd.Start())
		t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
		return cmd
	}
	start(l.out, l.err, "run", "--feed", filepath.Join(dir, "demo-bus.yaml"), "--course", "demo-bus", "--sessions", l.sessions)
	l.waitFor("earshot run listens", func() bool { return strings.Contains(l.err.String(), "listening:") })
	start(&lineLog{}, l.err, "demo", "--send", fmt.Sprintf("udp://127.0.0.1:%d,127.0.0.1:%d", gps, bus), "--as", "nmea, can")
	var begun []*journal.Stint
	l.waitFor("the car has moved off", func() bool {
		if found, _ := filepath.Glob(filepath.Join(l.sessions, "*", "journal.jsonl")); len(found) != 1 {
			return false
		}
		begun = bodies[*journal.Stint](l.journal())
		return len(begun) > 0
	})
	car := demo.Baseline()
	for w := range 4 {
		require.InDelta(t, car.ColdPressure[w], float64(begun[0].TyrePressure[w]), 0.5, "as the bus tells")
	}
	require.Equal(t, "hard", begun[0].Compound)
	for _, h := range bodies[*journal.Health](l.journal()) {
		require.Contains(t, []string{assistant.SoundPart.Name, hand.KeysPart.Name}, h.Part,
			"both sources are well; the receiver knows where the car is")
	}
}
