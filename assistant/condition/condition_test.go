package condition

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

const gt = `
baseline: gt
wheelbase: 2.65 m
steering_ratio: 12
tyres: {ready_hold: 10 s, ready_drift: 5 K}
limits: {tyre_low: 75 °C, tyre_high: 100 °C, slip_lock: -20 %, slip_spin: 15 %}
`

// computed lists the channels that this package writes.
func computed() []channel.ID {
	var ids []channel.ID
	for id := channel.TyreCore; id <= channel.WheelSlip+3; id++ {
		ids = append(ids, id)
	}
	return ids
}

// a rig drives a Condition with a row in hand.
type rig struct {
	k   *Condition
	row channel.Row
	at  float64
	hz  float64
}

func newRig(t testing.TB, text string) *rig {
	return &rig{k: New(newCar(t, text)), row: channel.NewSet().NewRow(), hz: 20}
}

func (r *rig) run(seconds float64, set func(t float64)) {
	n := int(math.Round(seconds * r.hz))
	for i := range n {
		r.at += 1 / r.hz
		if set != nil {
			set(float64(i+1) / r.hz)
		}
		r.k.Step(r.at, r.row)
	}
}

func (r *rig) wheels(id channel.ID, fl, fr, rl, rr float64) {
	for w, x := range []float64{fl, fr, rl, rr} {
		r.row[id+channel.ID(w)] = x
	}
}

func (r *rig) get(id channel.ID) []float64 { return r.row[id : id+4] }

func TestNothingIsKnownOfNothing(t *testing.T) {
	r := newRig(t, gt)
	r.run(5, nil)
	r.k.LapDone(1, "flying", true, r.row)
	for _, id := range computed() {
		require.True(t, math.IsNaN(r.row[id]), "%s is %g", channel.NewSet().At(id).Name, r.row[id])
	}
}

func TestCoreIsCarcassElseBandsElseTread(t *testing.T) {
	r := newRig(t, gt)
	r.wheels(channel.TyreTemperature, 60, 61, 62, 63)
	r.run(0.1, nil)
	require.Equal(t, []float64{60, 61, 62, 63}, r.get(channel.TyreCore))
	r.wheels(channel.TyreTempInner, 90, 90, 90, math.NaN())
	r.wheels(channel.TyreTempMiddle, 84, 84, 84, math.NaN())
	r.wheels(channel.TyreTempOuter, 78, 78, 78, math.NaN())
	r.run(0.1, nil)
	require.Equal(t, []float64{84, 84, 84, 63}, r.get(channel.TyreCore))
	r.wheels(channel.TyreCarcass, 70, math.NaN(), 70, 70)
	r.run(0.1, nil)
	require.Equal(t, []float64{70, 84, 70, 70}, r.get(channel.TyreCore))
}

func TestTyresReadyAfterTheHoldTime(t *testing.T) {
	r := newRig(t, gt)
	r.row[channel.Speed] = 50
	r.wheels(channel.TyreCarcass, 80, 80, 80, 60)
	r.run(30, nil)
	require.Equal(t, 0.0, r.row[channel.TyresReady], "rear right is cold")
	require.Equal(t, 0.0, r.row[channel.TyreShortFront])
	require.InDelta(t, 15, r.row[channel.TyreShortRear], 1e-6)

	r.wheels(channel.TyreCarcass, 80, 80, 80, 80)
	r.run(5, nil)
	require.Equal(t, 0.0, r.row[channel.TyresReady], "not for long enough")
	r.run(60, nil)
	require.Equal(t, 1.0, r.row[channel.TyresReady], "its mean over a lap is inside too")

	r.wheels(channel.TyreCarcass, 80, 72, 80, 80)
	r.run(60, nil)
	require.Equal(t, 1.0, r.row[channel.TyresReady], "a little below is no change of mind")
	r.wheels(channel.TyreCarcass, 80, 68, 80, 80)
	r.run(9, nil)
	require.Equal(t, 1.0, r.row[channel.TyresReady], "not for long enough")
	r.run(60, nil)
	require.Equal(t, 0.0, r.row[channel.TyresReady])

	r.wheels(channel.TyreCarcass, 80, math.NaN(), 80, 80)
	r.run(1, nil)
	require.True(t, math.IsNaN(r.row[channel.TyresReady]), "one tyre is not known")
}

func TestTyresNotReadyWhileRacingThroughTheWindow(t *testing.T) {
	r := newRig(t, gt)
	r.row[channel.Speed] = 50
	ready := false
	r.run(24, func(t float64) { // 1 K/s through 75 to 100 °C
		for w := range 4 {
			r.row[channel.TyreCarcass+channel.ID(w)] = 75 + t
		}
		ready = ready || r.row[channel.TyresReady] == 1
	})
	require.False(t, ready)
	r.run(60, func(float64) { r.wheels(channel.TyreCarcass, 90, 90, 90, 90) })
	require.Equal(t, 1.0, r.row[channel.TyresReady])
	r.run(60, func(float64) { r.wheels(channel.TyreCarcass, 90, 90, 120, 90) })
	require.Equal(t, 0.0, r.row[channel.TyresReady], "too hot is not in the window")
}

func TestLapMeansLeaveOutStandingStill(t *testing.T) {
	r := newRig(t, gt)
	r.row[channel.Speed] = 50
	r.wheels(channel.TyreCarcass, 80, 90, 80, 70)
	r.wheels(channel.TyrePressure, 180, 184, 180, 180)
	r.run(60, nil)
	r.row[channel.Speed] = 0
	r.wheels(channel.TyreCarcass, 20, 20, 20, 20)
	r.wheels(channel.TyrePressure, 100, 100, 100, 100)
	r.run(600, nil)
	m := r.k.LapDone(3, "flying", true, r.row)
	require.InDelta(t, 80, float64(m.TyreTemperature[channel.FL]), 1e-9)
	require.InDelta(t, 184, float64(m.TyrePressure[channel.FR]), 1e-9)
	require.True(t, m.BrakePeak.IsZero())
	require.InDelta(t, 10, r.row[channel.TyreSpreadFront], 1e-9)
	require.InDelta(t, -10, r.row[channel.TyreSpreadRear], 1e-9)
	require.InDelta(t, 90, r.row[channel.TyreCoreMean+channel.ID(channel.FR)], 1e-9)

	m = r.k.LapDone(4, "flying", true, r.row)
	require.True(t, m.TyreTemperature.IsZero(), "a lap without samples has no mean")
}

func TestLapsToReady(t *testing.T) {
	r := newRig(t, gt)
	r.row[channel.Speed] = 50
	const lap = 100.0
	crossing := -2.5 * math.Log((90.0-75)/(90-35)) // of the slower tyres, 3.25 laps
	drive := func(end float64) {
		start := r.at
		for k := range 3 {
			r.run(lap, func(float64) {
				t := (r.at - start) / lap
				r.wheels(channel.TyreCarcass, rise(35, end, 2.5, t), rise(35, 95, 2.5, t), rise(35, 95, 2.5, t), rise(35, 95, 2.5, t))
			})
			r.k.LapDone(k+1, "flying", true, r.row)
		}
	}
	drive(90)
	require.InDelta(t, crossing-3, r.row[channel.TyreLapsToReady], 0.02)
	require.Equal(t, 0.0, r.row[channel.TyresNeverReady])
	require.False(t, r.k.NeverReady())

	r.k.LapDone(4, "slow", true, r.row)
	require.True(t, math.IsNaN(r.row[channel.TyreLapsToReady]), "a slow lap breaks the trend")

	r.k.StintStart(r.at, r.row)
	require.True(t, math.IsNaN(r.row[channel.TyreLapsToReady]))
	require.True(t, math.IsNaN(r.row[channel.TyreCoreMean]))
	drive(70)
	require.True(t, math.IsNaN(r.row[channel.TyreLapsToReady]))
	require.Equal(t, 1.0, r.row[channel.TyresNeverReady])
	require.True(t, r.k.NeverReady())
}

// A disc is hottest when the brake has been let go already: 420 °C at release, 500 °C a second later.
func TestBrakePeakComesLate(t *testing.T) {
	r := newRig(t, gt)
	r.row[channel.Speed], r.row[channel.Brake] = 60, 0
	r.wheels(channel.BrakeTemperature, 300, 300, 200, 200)
	r.run(3, nil)
	require.Equal(t, 0.0, r.row[channel.BrakeEvents])
	require.True(t, math.IsNaN(r.row[channel.BrakePeakFront]))

	stop := func(front, right float64) {
		r.row[channel.Brake] = 0.8
		r.run(2, func(t float64) {
			r.row[channel.Speed] = 60 - 15*t
			r.wheels(channel.BrakeTemperature, 300+60*t, 420, 300, 300)
		})
		r.row[channel.Brake] = 0
		r.run(1, func(t float64) { r.wheels(channel.BrakeTemperature, front, front+right, 300, 310) })
		r.run(3, func(t float64) { r.wheels(channel.BrakeTemperature, 250, 250, 250, 250) })
		r.run(3, func(t float64) { r.row[channel.Speed] = 60 })
	}
	stop(500, 40)
	require.Equal(t, 1.0, r.row[channel.BrakeEvents])
	require.Equal(t, []float64{500, 540, 300, 310}, r.get(channel.BrakePeak))
	require.Equal(t, 520.0, r.row[channel.BrakePeakFront])
	require.Equal(t, 305.0, r.row[channel.BrakePeakRear])
	stop(600, 60)
	m := r.k.LapDone(1, "flying", true, r.row)
	require.InDelta(t, 550, float64(m.BrakePeak[channel.FL]), 1e-9)
	require.InDelta(t, 600, float64(m.BrakePeak[channel.FR]), 1e-9)
	require.InDelta(t, 50, r.row[channel.BrakeSpreadFront], 1e-9)
	require.InDelta(t, 10, r.row[channel.BrakeSpreadRear], 1e-9)
	require.Equal(t, 2.0, r.row[channel.BrakeEvents])
	r.k.StintStart(r.at, r.row)
	r.run(0.1, nil)
	require.Equal(t, 0.0, r.row[channel.BrakeEvents])
	require.True(t, math.IsNaN(r.row[channel.BrakePeakMean]))
}

func TestWhatIsABrakingEvent(t *testing.T) {
	tests := []struct {
		name string
		run  func(r *rig)
		want float64
	}{
		{"a dab that hardly slows the car", func(r *rig) {
			r.row[channel.Brake] = 0.3
			r.run(0.4, func(t float64) { r.row[channel.Speed] = 60 - 2*t })
			r.row[channel.Brake] = 0
		}, 0},
		{"holding the car on the grid", func(r *rig) {
			r.row[channel.Speed], r.row[channel.Brake] = 0, 1
			r.run(10, nil)
			r.row[channel.Brake] = 0
		}, 0},
		{"stopping and holding the car with the pedal", func(r *rig) {
			r.row[channel.Brake] = 1
			r.run(6, func(t float64) { r.row[channel.Speed] = max(0, 60-20*t) })
			r.row[channel.Brake] = 1
		}, 1},
		{"two bites in one braking zone", func(r *rig) {
			for _, on := range []float64{1, 0, 1, 0} {
				r.row[channel.Brake] = on
				r.run(0.2+0.8*on, func(t float64) { r.row[channel.Speed] -= on * 0.5 })
			}
		}, 1},
		{"two corners close together", func(r *rig) {
			for _, on := range []float64{1, 0, 1, 0} {
				r.row[channel.Brake] = on
				r.run(1, func(t float64) { r.row[channel.Speed] -= on * 0.5 })
			}
		}, 2},
		{"line pressure only", func(r *rig) {
			r.row[channel.Brake], r.row[channel.BrakeLineFront] = math.NaN(), 4000
			r.run(2, func(t float64) { r.row[channel.Speed] = 60 - 10*t })
			r.row[channel.BrakeLineFront] = 0
		}, 1},
		{"deceleration only", func(r *rig) {
			r.row[channel.Brake] = math.NaN()
			r.run(2, func(t float64) { r.row[channel.Speed] = 60 - 10*t })
		}, 1},
		{"lifting only", func(r *rig) {
			r.row[channel.Brake] = math.NaN()
			r.run(10, func(t float64) { r.row[channel.Speed] = 60 - 1.5*t })
		}, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, gt)
			r.row[channel.Speed], r.row[channel.Brake] = 60, 0
			r.run(2, nil)
			tt.run(r)
			r.run(3, nil)
			require.Equal(t, tt.want, r.row[channel.BrakeEvents])
		})
	}
}

// learnRadius rolls straight with the feed's wheel speeds off by factor: a radius of 0.33 m taken for 0.33/factor.
func learnRadius(r *rig, factor float64) {
	r.row[channel.Throttle], r.row[channel.Brake], r.row[channel.YawRate] = 0.2, 0, 0
	r.run(10, func(t float64) {
		v := 30 + math.Sin(t)
		r.row[channel.Speed] = v
		r.wheels(channel.WheelSpeed, v/factor, v/factor, v/factor, v/factor)
	})
}

// SAE J670 slip: V = 30 m/s, Re = 0.33 m, ω = 80, 100 and 0 rad/s give −0.12, +0.10 and −1; 9 rad/s beyond 49.5 rad/s of
// free rolling give 0.181818 (published worked example, weak authority).
func TestSlipWithALearnedRadius(t *testing.T) {
	r := newRig(t, gt)
	r.wheels(channel.WheelSpeed, 30, 30, 30, 30)
	r.row[channel.Speed] = 30
	r.run(1, nil)
	require.True(t, math.IsNaN(r.row[channel.WheelSlip]), "no radius yet")
	learnRadius(r, 1.04)
	front, rear := r.k.RollingRadius()
	require.InDelta(t, 1.04, front, 1e-3)
	require.InDelta(t, 1.04, rear, 1e-3)
	r.row[channel.Speed] = 30
	const re = 0.33 / 1.04 // what the feed takes the radius for
	r.wheels(channel.WheelSpeed, 80*re, 100*re, 0, 30/0.33*(49.5+9)/49.5*re)
	r.run(0.05, nil)
	require.InDeltaSlice(t, []float64{-0.12, 0.10, -1, 0.181818}, r.get(channel.WheelSlip), 2e-3)
	r.row[channel.Speed] = 0
	r.run(0.05, nil)
	require.True(t, math.IsNaN(r.row[channel.WheelSlip]), "no slip of a standing car")
}

// Flat out all the way there is no low throttle: the undriven axle is learned as ever, the driven one from what there is.
func TestRadiusLearnedFlatOut(t *testing.T) {
	r := newRig(t, gt+"driven: rear")
	flatOut := func(seconds float64) (front, rear float64) {
		r.row[channel.Throttle], r.row[channel.Brake], r.row[channel.YawRate], r.row[channel.Speed] = 1, 0, 0, 60
		r.wheels(channel.WheelSpeed, 60, 60, 61, 61)
		r.run(seconds, nil)
		return r.k.RollingRadius()
	}
	front, rear := flatOut(8)
	require.InDelta(t, 1, front, 1e-3)
	require.InDelta(t, 60.0/61, rear, 1e-3)
	r.row[channel.Throttle] = 0.1
	r.wheels(channel.WheelSpeed, 60, 60, 60, 60)
	r.run(8, nil)
	_, rear = r.k.RollingRadius()
	require.InDelta(t, 1, rear, 1e-3, "low throttle is better evidence")
}

func TestSlipTakesTheYawOutWhereTheTrackIsKnown(t *testing.T) {
	r := newRig(t, gt+"track_width: 1.6 m")
	learnRadius(r, 1)
	// A left-hand bend of 20 m: the left wheels roll on 19.2 m, the right ones on 20.8 m.
	r.row[channel.Speed], r.row[channel.YawRate] = 10, 0.5
	r.wheels(channel.WheelSpeed, 9.6, 10.4, 9.6, 10.4)
	r.run(0.05, nil)
	require.InDeltaSlice(t, []float64{0, 0, 0, 0}, r.get(channel.WheelSlip), 1e-3)
}
