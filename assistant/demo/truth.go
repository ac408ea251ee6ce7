package demo

// A Press is a command of the driver, due at At seconds on the clock of the samples.
type Press struct {
	At      float64
	Command string
}

// A Truth is what a session really was: what the rest of the program ought to find out.
type Truth struct {
	Course  *Course
	Car     Car
	Rate    float64
	Laps    int // of the race
	Stint   int // flying laps of the stint
	Fuel    float64
	Box     float64 // m from the line along the course: where the car stands
	Faults  []Fault // of the Options and of the Story
	Presses []Press // so far
	Done    []Lap   // laps completed so far, the out-lap first

	// Gradient is the understeer gradient in rad per m/s² at the road wheels, with warm new tyres at low speed.
	Gradient float64
}

// A Lap is one that has been completed.
type Lap struct {
	Number     int     // 0 is the out-lap
	Start, End float64 // s: crossings of the line, exact between samples; the out-lap starts when the car moves off
	Time       float64 // s: End - Start
	Valid      bool
	WhyInvalid string
	Class      string  // out, flying or in
	FuelUsed   float64 // L
	FuelLeft   float64 // L at the end
	Distance   float64 // m driven along the centre line

	// At the end of the lap, in °C and kPa; wheels FL, FR, RL, RR.
	Tread, Carcass, Disc, Pressure [4]float64
	DiscPeak                       [4]float64 // °C: highest in the lap
	CarcassMean                    [4]float64 // °C: over the time of the lap
	PressureMean                   [4]float64 // kPa, likewise
	Wear                           [4]float64 // worn share of the tread
	TopSpeed                       float64    // m/s
}
