package race

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

const lapTime = 90.0

// drive goes n laps around a course of 3 km and calls set before and see behind each step.
func drive(n int, set, see func(row channel.Row, lap int, share float64)) {
	r, names := New(), channel.NewSet()
	row := names.NewRow()
	for i := range row {
		row[i] = math.NaN()
	}
	for i := range n * lapTime * 10 {
		lap, share := 1+i/(lapTime*10), float64(i%(lapTime*10))/(lapTime*10)
		row[channel.Lap], row[channel.LapElapsed], row[channel.CoursePlace] = float64(lap), share*lapTime, share*3000
		if lap > 1 {
			row[channel.LapTimeDone], row[channel.BestLap] = lapTime, lapTime
		}
		set(row, lap, share)
		r.Step(float64(i)/10, row)
		see(row, lap, share)
	}
}

// Common practice, no source: inside five seconds once in three laps while the gap changes, once a lap in a fight, and
// at once where it becomes one.
func TestGapsAreToldOnceALapAtMost(t *testing.T) {
	for _, tt := range []struct {
		name string
		gap  func(laps float64) float64
		want []string // lap, tenth of the lap, closing by
	}{
		{"too far away", func(float64) float64 { return 7 }, nil},
		{"it does not change", func(float64) float64 { return 3 }, []string{"2.5 NaN"}},
		{"it changes", func(laps float64) float64 { return 4 - 0.1*laps }, []string{"2.5 NaN", "5.5 0.1", "8.5 0.1", "11.5 0.1"}},
		{"it becomes a fight", func(laps float64) float64 { return max(0.5, 2.9-0.3*laps) }, []string{
			"2.5 NaN", "5.5 0.3", "7.3 0.3", "8.5 0.3", "9.5 0.1", "10.5 0.0", "11.5 0.0", "12.5 0.0",
		}},
		{"alongside", func(float64) float64 { return 0.05 }, nil},
		{"it swings with the corners", func(laps float64) float64 { return 3 + 0.6*math.Sin(40*math.Pi*laps) }, []string{"2.5 NaN"}},
		{"it falls back", func(laps float64) float64 { return -(2 + 0.2*laps) }, []string{"2.5 NaN", "5.5 -0.2", "8.5 -0.2", "11.5 -0.2"}},
		{"another car", func(laps float64) float64 { return map[bool]float64{true: 4.5, false: 1.6}[laps < 6] },
			[]string{"2.5 NaN", "7.5 NaN"}},
		{"nobody", func(float64) float64 { return math.NaN() }, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var told []string
			drive(12, func(row channel.Row, lap int, share float64) {
				row[channel.GapBehind] = tt.gap(float64(lap-1) + share)
			}, func(row channel.Row, lap int, share float64) {
				require.Zero(t, row[channel.GapAheadDue])
				if row[channel.GapBehindDue] == 1 {
					told = append(told, fmt.Sprintf("%.1f %.1f", float64(lap)+math.Floor(10*share)/10, row[channel.GapBehindClosing]))
				}
			})
			require.Equal(t, tt.want, told)
		})
	}
}

// Cars side by side change places many times: a position counts once it has lasted.
func TestPositionSettles(t *testing.T) {
	var seen []float64
	drive(1, func(row channel.Row, _ int, share float64) {
		row[channel.RacePosition] = 5
		if share > 0.2 && (share > 0.3 || int(share*100)%2 == 0) { // 0.9 s each
			row[channel.RacePosition] = 4
		}
	}, func(row channel.Row, _ int, _ float64) {
		if p := row[channel.PositionSettled]; !math.IsNaN(p) && (len(seen) == 0 || seen[len(seen)-1] != p) {
			seen = append(seen, p)
		}
	})
	require.Equal(t, []float64{5, 4}, seen)
}

// Common practice, no source: a race by laps five, three and the last lap; by time half, ten minutes, five minutes and
// the last lap.
func TestCountdown(t *testing.T) {
	labels := channel.NewSet().At(channel.Countdown).Labels
	for _, tt := range []struct {
		name string
		laps int
		set  func(row channel.Row, at float64, lap int, share float64)
		want []string
	}{
		{"by laps", 8, func(row channel.Row, _ float64, lap int, share float64) {
			row[channel.SessionLapsLeft] = float64(9 - lap)
			if share < 0.005 { // the feed counts half a second late
				row[channel.SessionLapsLeft]++
			}
		}, []string{"five_laps_to_go 4", "three_laps_to_go 6", "last_lap 8"}},
		{"the leader is half a lap ahead", 8, func(row channel.Row, _ float64, lap int, share float64) {
			row[channel.LeaderLapsLeft] = math.Ceil(8.5 - float64(lap) - share)
		}, []string{"five_laps_to_go 4", "three_laps_to_go 6", "last_lap 8"}},
		{"five laps from the start on", 5, func(row channel.Row, _ float64, lap int,
			_ float64) {
			row[channel.SessionLapsLeft] = float64(6 - lap)
		},
			[]string{"three_laps_to_go 3", "last_lap 5"}},
		{"by time", 21, func(row channel.Row, at float64, _ int, _ float64) { row[channel.SessionTimeLeft] = 1850 - at },
			[]string{"half_time 11", "ten_minutes_to_go 14", "five_minutes_to_go 18", "last_lap 21"}},
		{"the clock ends so near the line that only its end tells", 21, func(row channel.Row, at float64, _ int, _ float64) {
			row[channel.SessionTimeLeft] = 1889 - at
		}, []string{"half_time 11", "ten_minutes_to_go 15", "five_minutes_to_go 18", "last_lap 21"}},
		{"the clock goes past zero at the line", 22, func(row channel.Row, at float64, _ int,
			_ float64) {
			row[channel.SessionTimeLeft] = 1890.5 - at
		},
			[]string{"half_time 11", "ten_minutes_to_go 15", "five_minutes_to_go 18", "last_lap 22"}},
		{"seen from its middle on", 4, func(row channel.Row, at float64, _ int, _ float64) { row[channel.SessionTimeLeft] = 280 - at },
			[]string{"half_time 2", "last_lap 4"}},
		{"a clock that is told anew", 3, func(row channel.Row, at float64, _ int, _ float64) {
			row[channel.SessionTimeLeft] = 700 - at
			if at > 50 {
				row[channel.SessionTimeLeft] = 100 // another session
			}
		}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var told []string
			last := 0.0
			drive(tt.laps, func(row channel.Row, lap int, share float64) {
				tt.set(row, (float64(lap-1)+share)*lapTime, lap, share)
			}, func(row channel.Row, lap int, _ float64) {
				if c := row[channel.Countdown]; c != last {
					if last = c; c > 0 {
						told = append(told, fmt.Sprint(labels[int(c)], " ", lap))
					}
				}
			})
			require.Equal(t, tt.want, told)
		})
	}
}

func TestStepAllocatesNothing(t *testing.T) {
	r, row := New(), channel.NewSet().NewRow()
	at := 0.0
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		at += 0.01
		row[channel.GapAhead], row[channel.RacePosition], row[channel.SessionTimeLeft] = 2, 3, 1000-at
		r.Step(at, row)
	}))
}
