package condition

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/car"
	"earshot/assistant/channel"
)

const (
	g   = 9.81 // m/s², as in the worked examples
	deg = math.Pi / 180
)

func newCar(t testing.TB, text string) *car.Car {
	t.Helper()
	c, err := car.Parse("test.yaml", []byte(text))
	require.NoError(t, err)
	return c
}

// A bicycle is the linear single-track model of a car.
type bicycle struct {
	name         string
	mass, a, b   float64 // kg, m from the centre of gravity to the front and rear axle
	front, rear  float64 // N/rad by axle
	wantK, tolK  float64 // rad per g
	steer, v, ay float64 // a worked steady state: rad, m/s, m/s²; 0 where none
}

// The worked examples. W = 20.105 kN, L = 2.8 m, 53.5 % front, 38.92 and 38.25 kN/rad by tyre: Wong, Theory of Ground Vehicles,
// example 5.1 (printed values from memory). The car of 1008 kg: question of a homework site, answer
// computed. The car of 1400 kg: computed in closed form and by solving the equations of motion.
var bicycles = []bicycle{
	{"Wong 5.1", 20105 / g, 2.8 * (1 - 0.535), 2.8 * 0.535, 2 * 38920, 2 * 38250, 0.01598, 2e-5, 0, 0, 0},
	{"Wong 5.1 with stiffer front tyres", 20105 / g, 2.8 * (1 - 0.535), 2.8 * 0.535, 2 * 47820, 2 * 38250, -0.00974, 2e-5, 0, 0, 0},
	{"1008 kg", 1008, 1.2, 1.0, 117000, 145000, 1.24234e-4 * g, 1e-6, 0.108519, 10, 0.5 * g},
	{"1400 kg", 1400, 1.25, 1.35, 90000, 100000, 0.0132058, 1e-6, 0.0381154, 30, 9},
	{"1400 kg, oversteering", 1400, 1.25, 1.35, 110000, 90000, -0.0085371, 1e-6, 0, 0, 0},
}

// steady solves the equations of motion for the steer angle that holds yaw rate r at speed v. It knows
// nothing of the gradient: m·v·r = Ff + Fr and a·Ff = b·Fr with F = C·(slip angle).
func (c bicycle) steady(v, r float64) float64 {
	force := c.mass * v * r
	ff, fr := force*c.b/(c.a+c.b), force*c.a/(c.a+c.b)
	beta := c.b*r/v - fr/c.rear
	return beta + c.a*r/v + ff/c.front
}

func TestGradientIsRecovered(t *testing.T) {
	for _, c := range bicycles {
		for _, offset := range []float64{0, -0.2 * deg, 0.5 * deg} {
			if c.steer != 0 {
				require.InDelta(t, c.steer, c.steady(c.v, c.ay/c.v), 1e-4*c.steer, "the model of the test against the worked example")
			}
			k := New(newCar(t, "steering_ratio: 12"))
			k.balance.wheelbase = c.a + c.b
			row := channel.NewSet().NewRow()
			drive(k, row, c, offset, 60, 40, 0)
			got := k.Steering()
			require.InDelta(t, c.wantK, got.Gradient*g, c.tolK+0.01*math.Abs(c.wantK)+3e-5, "%s: K", c.name)
			require.InDelta(t, offset, got.Offset, 0.02*deg, "%s: offset", c.name)
			require.InDelta(t, 0, row[channel.Balance], 0.05*deg, "%s: what the car needs is no understeer", c.name)
		}
	}
}

// drive weaves gently for a time at hz and leaves the car in a left-hand bend; more is steering beyond the model's.
func drive(k *Condition, row channel.Row, c bicycle, offset, hz, seconds, more float64) {
	at := k.at
	for i := range int(seconds * hz) {
		at += 1 / hz
		phase := float64(i) / hz
		v := 25 + 10*math.Sin(phase/7)
		ay := 3 * math.Sin(phase/3)
		if float64(i) > (seconds-3)*hz {
			ay = 3
		}
		put(row, v, ay/v)
		row[channel.SteeringWheelAngle] = 12 * (c.steady(v, ay/v) + offset + more)
		k.Step(at, row)
	}
}

func put(row channel.Row, v, r float64) {
	row[channel.Speed], row[channel.YawRate] = v, r
}

// Once learned, steering beyond the model's is read back with its sign, in bends of either hand.
func TestIndexMeasuresWhatIsBeyond(t *testing.T) {
	c := bicycles[3]
	k := New(newCar(t, "wheelbase: 2.6 m\nsteering_ratio: 12"))
	row := channel.NewSet().NewRow()
	require.True(t, math.IsNaN(k.Steering().Gradient))
	drive(k, row, c, 0, 60, 40, 0)
	at := k.at
	hold := func(ay, more float64) float64 {
		for range 120 {
			at += 1.0 / 60
			put(row, 30, ay/30)
			row[channel.SteeringWheelAngle] = 12 * (c.steady(30, ay/30) + more)
			k.Step(at, row)
		}
		return row[channel.Balance] / deg
	}
	require.InDelta(t, 2, hold(9, 2*deg), 0.1, "left, more lock")
	require.InDelta(t, 2, hold(-9, -2*deg), 0.1, "right, more lock")
	require.InDelta(t, -2, hold(9, -2*deg), 0.1, "left, less lock")
	require.InDelta(t, -6, hold(9, -6*deg), 0.2, "left, counter-steer: the wheels point right")
	require.Negative(t, c.steady(30, 9.0/30)-6*deg)
	require.True(t, math.IsNaN(hold(150, 0)), "further out than what was learned reaches")
}

func TestBalanceIsAbsentWithoutItsInputs(t *testing.T) {
	for name, text := range map[string]string{"no wheelbase": "steering_ratio: 12", "no ratio": "wheelbase: 2.6 m"} {
		k := New(newCar(t, text))
		row := channel.NewSet().NewRow()
		drive(k, row, bicycles[3], 0, 60, 40, 0)
		require.True(t, math.IsNaN(row[channel.Balance]), name)
		require.True(t, math.IsNaN(k.Steering().Gradient), name)
	}
	k := New(newCar(t, "wheelbase: 2.6 m\nsteering_ratio: 12"))
	row := channel.NewSet().NewRow()
	drive(k, row, bicycles[3], 0, 60, 15, 0)
	require.True(t, math.IsNaN(row[channel.Balance]), "too little was seen")
	drive(k, row, bicycles[3], 0, 60, 25, 0)
	require.False(t, math.IsNaN(row[channel.Balance]))
	put(row, 3, 0.1)
	k.Step(k.at+0.1, row)
	require.True(t, math.IsNaN(row[channel.Balance]), "manoeuvring")
}

// The hand on the straight alone teaches no gradient.
func TestStraightTeachesNoGradient(t *testing.T) {
	k := New(newCar(t, "wheelbase: 2.6 m\nsteering_ratio: 12"))
	row := channel.NewSet().NewRow()
	for i := range 6000 {
		put(row, 50, 1e-3*math.Sin(float64(i)))
		row[channel.SteeringWheelAngle] = 0
		k.Step(float64(i)/60, row)
	}
	require.True(t, math.IsNaN(k.Steering().Gradient))
}

func TestGradientDoesNotDependOnTheRate(t *testing.T) {
	at := map[float64]Steering{}
	for _, hz := range []float64{25, 60, 360} {
		k := New(newCar(t, "wheelbase: 2.6 m\nsteering_ratio: 12"))
		drive(k, channel.NewSet().NewRow(), bicycles[3], -0.3*deg, hz, 60, 0)
		at[hz] = k.Steering()
	}
	for _, hz := range []float64{60, 360} {
		require.InEpsilon(t, at[25].Gradient, at[hz].Gradient, 0.01)
		require.InDelta(t, at[25].Offset, at[hz].Offset, 0.005*deg)
		require.InEpsilon(t, at[25].Seconds, at[hz].Seconds, 0.1)
	}
}

// A new stint may have another setup: what was learned stays in force until the new stint has taught its own.
func TestStintTeachesItsOwnGradient(t *testing.T) {
	k := New(newCar(t, "steering_ratio: 12"))
	k.balance.wheelbase = 2.6
	row := channel.NewSet().NewRow()
	drive(k, row, bicycles[3], 0, 60, 40, 0)
	first := k.Steering().Gradient
	k.StintStart(k.at, row)
	require.Equal(t, first, k.Steering().Gradient)
	drive(k, row, bicycles[4], 0, 60, 40, 0)
	require.InDelta(t, bicycles[4].wantK/g, k.Steering().Gradient, 2e-5)
}
