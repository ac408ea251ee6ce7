package timing

import (
	"math"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// loop drives the stadium by position alone; aside is metres to the left of its line.
type loop struct {
	*feed
	learner *course.Learner
	at, s   float64
}

func newLoop(t *testing.T, cfg Config) *loop {
	return &loop{feed: newFeed(t, cfg), learner: course.NewLearner(cfg.Course), s: stadiumLength - 150}
}

func (l *loop) give(aside, v float64) {
	x, y, heading, _ := stadium(l.s)
	sin, cos := math.Sincos(heading)
	l.feed.give(l.at, channel.PositionX, x-aside*sin, channel.PositionY, y+aside*cos, channel.Speed, v)
	if m := l.learner.Step(l.at, l.hold.Row); m != nil {
		l.timing.UseMap(m)
	}
}

func (l *loop) run(metres, aside float64) {
	for end := l.s + metres; l.s < end; {
		l.at += 0.1
		l.s += 3
		l.give(aside, 30)
	}
}

func (l *loop) stand(seconds, aside float64) {
	for range int(seconds * 10) {
		l.at += 0.1
		l.give(aside, 0)
	}
}

// Nobody tells of a pit lane: the place where the car stood before it first moved ends a stint, any other stop does
// not.
func TestStopPlaceEndsAStint(t *testing.T) {
	const box = -25.0 // m beside the course
	l := newLoop(t, Config{Course: stadiumFile()})
	l.stand(20, box)
	require.Empty(t, l.events)
	l.run(100, box) // along the lane
	l.run(stadiumLength, 0)
	l.run(500, 0)
	l.stand(60, 0)
	l.run(20, -25)
	l.stand(60, -25) // beside the course, but elsewhere
	l.run(stadiumLength-770, 0)
	require.Len(t, l.of(StintStart), 1)
	require.Empty(t, l.of(StintEnd), "a stop on the course")
	l.s = math.Ceil((l.s-stadiumLength+150)/stadiumLength)*stadiumLength + stadiumLength - 150
	l.run(3, box)
	l.s -= 3
	l.stand(3, box)
	require.Empty(t, l.of(StintEnd), "not yet long enough")
	l.stand(30, box)
	require.Len(t, l.of(StintEnd), 1)
	require.Equal(t, 1.0, l.get(channel.InPits))
	l.run(200, box)
	require.Len(t, l.of(StintStart), 2)
	require.Equal(t, 0.0, l.get(channel.InPits))
	require.Equal(t, 1.0, l.get(channel.OnOutLap))
}

// A car that starts from the grid has no stop place: once the course is known, a stop there is a stop on the course.
func TestTheGridIsNoStopPlace(t *testing.T) {
	l := newLoop(t, Config{Course: stadiumFile()})
	l.stand(20, 0)
	l.run(2*stadiumLength, 0)
	require.NotNil(t, l.timing.m)
	l.s = 3*stadiumLength - 150
	l.stand(60, 0)
	l.run(300, 0)
	require.Empty(t, l.of(StintEnd))
	require.Len(t, l.of(StintStart), 1)
}

// Where the feed knows the pit lane, a stop at the stop place says nothing.
func TestThePitLaneOutranksTheStopPlace(t *testing.T) {
	l := newLoop(t, Config{Course: stadiumFile()})
	l.feed.give(0, channel.InPitLane, 1, channel.Speed, 0)
	l.stand(20, -25)
	l.feed.give(l.at+0.01, channel.InPitLane, 0)
	l.run(100, -25)
	l.s -= 103
	l.stand(30, -25)
	require.Empty(t, l.of(StintEnd))
}

// The width is the whole road's: the learned line may lie at one edge, so only what is farther off than that is off.
func TestLeavingTheWidthVoidsTheLap(t *testing.T) {
	tests := []struct {
		name  string
		aside float64
		extra []any
		void  bool
	}{
		{"on the road", 11, nil, false},
		{"off it", 13, nil, true},
		{"off it to the right", -13, nil, true},
		{"the feed knows better", 13, []any{channel.OnCourse, 1}, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			file := stadiumFile()
			file.Width = 12
			l := newLoop(t, Config{Course: file})
			l.run(160, 0)
			l.run(stadiumLength, 0)
			l.run(200, 0)
			require.NotNil(t, l.timing.m)
			if tt.extra != nil {
				l.feed.give(l.at+0.01, tt.extra...)
			}
			for range 3 {
				l.at += 0.1
				l.s += 3
				l.give(tt.aside, 30)
			}
			require.Equal(t, flag(tt.void), l.get(channel.LapVoid))
			if tt.void {
				require.Equal(t, OffCourse, l.of(LapVoid)[0].Lap.Void.Code)
			}
		})
	}
	t.Run("one place alone is a bad fix", func(t *testing.T) {
		file := stadiumFile()
		file.Width = 12
		l := newLoop(t, Config{Course: file})
		l.run(stadiumLength+400, 0)
		l.at += 0.1
		l.s += 3
		l.give(13, 30)
		l.run(60, 0)
		require.Equal(t, 0.0, l.get(channel.LapVoid))
	})
}

// A stint of 24 hours at 60 Hz: memory after it is what it was after the first laps.
func TestMemoryOfADay(t *testing.T) {
	if testing.Short() {
		t.Skip("drives 5.2 million samples")
	}
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	row := set.NewRow()
	f := New(Config{Course: twoSectors(), Bests: &Bests{Course: "x", Car: "x"}})
	events := make([]Event, 0, 64)
	row[channel.Speed], row[channel.LapValid] = 50, 1
	var early uint64
	laps, step := 0, 0
	for ; step < 24*3600*60; step++ {
		at := float64(step) / 60
		s := at*50 + 5*math.Sin(at/977) // laps differ a little, so that there are new bests and records
		row[channel.LapNumber], row[channel.LapDistance] = math.Floor(s/3000), math.Mod(s, 3000)
		events = f.Step(at, row, events[:0])
		for i := range events {
			if events[i].Kind == LapDone {
				laps++
			}
		}
		_ = f.FreshBests()
		if step == 3600*60 {
			early = heap()
		}
	}
	late := heap()
	require.Equal(t, 1439, laps)
	require.Less(t, int64(late)-int64(early), int64(32<<10), "bytes from the first hour (%d) to the last (%d)", early, late)
	runtime.KeepAlive(f)
}
