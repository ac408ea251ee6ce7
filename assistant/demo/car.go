package demo

import (
	"errors"
	"fmt"
	"math"
)

const (
	gravity  = 9.80665 // m/s², standard
	kelvin   = 273.15  // K at 0 °C
	gasAir   = 287.05  // J/(kg K), dry air
	heatFuel = 43.0e6  // J/kg, lower heating value of petrol; from memory
	stepRate = 360.0   // Hz of the integration
)

// A Car is a car and its setup. Per-axle arrays are front, rear; per-wheel arrays FL, FR, RL, RR. The levers of a setup
// are Springs, Bars, Wing, BrakeBias, Ducts, ColdPressure, PowerLock, CoastLock, Gears, FinalDrive and Compound, and
// besides them the fuel of the Options.
type Car struct {
	Mass       float64    `json:"mass"`        // kg, with driver, without fuel
	FrontShare float64    `json:"front_share"` // of the weight, at rest
	Wheelbase  float64    `json:"wheelbase"`   // m
	CGHeight   float64    `json:"cg_height"`   // m
	Track      [2]float64 `json:"track"`       // m
	TyreRadius float64    `json:"tyre_radius"` // m, rolling
	TyreSize   [2]float64 `json:"tyre_size"`   // relative, for heat and wear: the rear tyres are wider
	Steering   float64    `json:"steering"`    // hand wheel angle over road wheel angle
	// front share of the roll stiffness with the springs and bars of Baseline
	RollSplit float64    `json:"roll_split"`
	Springs   [2]float64 `json:"springs"`   // N/m at the wheel
	Bars      [2]float64 `json:"bars"`      // steps from the middle; more is stiffer
	Stiffness [2]float64 `json:"stiffness"` // N/rad: cornering stiffness of the axle at rest
	// share of its stiffness that an axle loses where all its load is on one wheel
	StiffnessFall float64 `json:"stiffness_fall"`
	// share of its grip that a tyre loses where its load is twice that at rest
	GripFall float64 `json:"grip_fall"`
	Bend     float64 `json:"bend"`    // share by which the slip angle at the limit exceeds the linear one
	Grip     float64 `json:"grip"`    // friction coefficient of a tyre in its window
	Rolling  float64 `json:"rolling"` // rolling resistance coefficient

	DragArea  float64    `json:"drag_area"`  // m²: drag coefficient times area, wings at 0
	LiftArea  float64    `json:"lift_area"`  // m²: downforce coefficient times area, wings at 0
	AeroFront float64    `json:"aero_front"` // front share of LiftArea
	Wing      [2]float64 `json:"wing"`       // steps from the middle; a step is wingLift and wingDrag

	Power      float64    `json:"power"`       // W at the crank, at best
	PowerPeak  float64    `json:"power_peak"`  // rad/s: engine speed of it
	PowerFall  float64    `json:"power_fall"`  // power is Power (1 - PowerFall (n/PowerPeak - 1)²)
	RevIdle    float64    `json:"rev_idle"`    // rad/s
	RevShift   float64    `json:"rev_shift"`   // rad/s
	RevLimit   float64    `json:"rev_limit"`   // rad/s
	EngineDrag float64    `json:"engine_drag"` // N m with the throttle closed
	Gears      [6]float64 `json:"gears"`       // ratios
	FinalDrive float64    `json:"final_drive"`
	Driveline  float64    `json:"driveline"`  // efficiency
	Efficiency float64    `json:"efficiency"` // indicated work over the heat of the fuel
	Density    float64    `json:"density"`    // kg/L of the fuel

	PowerLock float64 `json:"power_lock"` // steps of the differential from the middle: under power
	CoastLock float64 `json:"coast_lock"` // off it

	BrakeBias  float64    `json:"brake_bias"`  // front share of the brake force
	BrakeForce float64    `json:"brake_force"` // N of all wheels at full pedal, discs in their window
	DiscMass   [2]float64 `json:"disc_mass"`   // kg each
	DiscHeat   float64    `json:"disc_heat"`   // J/(kg K)
	DiscStill  float64    `json:"disc_still"`  // W/K of a disc at rest
	DiscAir    [2]float64 `json:"disc_air"`    // W/K per m/s of a disc with its duct at 1
	Ducts      [4]float64 `json:"ducts"`       // opening, 0 to 1.5

	Compound     int        `json:"compound"`      // as in the channel of that name: 1 soft, 2 medium, 3 hard
	ColdPressure [4]float64 `json:"cold_pressure"` // kPa gauge, set at the air temperature of the start
	ABS          int        `json:"abs"`           // levels at the start
	TC           int        `json:"tc"`
	Map          int        `json:"map"`
}

const (
	wingLift = 0.09  // m² a step
	wingDrag = 0.022 // m² a step
)

// Baseline is the invented car of the demo: about a GT car on hard slicks. Its pressures lie near 26 psi
// hot, its tyres work from 75 to 100 °C and its brakes from 250 to 650 °C.
func Baseline() Car {
	return Car{
		Mass: 1330, FrontShare: 0.45, Wheelbase: 2.66, CGHeight: 0.43, Track: [2]float64{1.66, 1.64}, TyreRadius: 0.335,
		TyreSize: [2]float64{0.84, 1.16}, Steering: 13, RollSplit: 0.56, Springs: baseSprings,
		Stiffness: [2]float64{92e3, 124e3}, StiffnessFall: 0.25, GripFall: 0.10, Bend: 0.12, Grip: 1.42, Rolling: 0.013,
		DragArea: 1.15, LiftArea: 2.5, AeroFront: 0.43, Power: 390e3, PowerPeak: rpm(7000), PowerFall: 0.75,
		RevIdle: rpm(1600), RevShift: rpm(7600), RevLimit: rpm(7900), EngineDrag: 55,
		Gears: [6]float64{3.10, 2.28, 1.79, 1.47, 1.24, 1.07}, FinalDrive: 3.75, Driveline: 0.93, Efficiency: 0.33,
		Density: 0.745, BrakeBias: 0.69, BrakeForce: 30e3, DiscMass: [2]float64{9.5, 6.5}, DiscHeat: 460, DiscStill: 8,
		DiscAir: [2]float64{1.75, 0.95}, Ducts: [4]float64{1, 1, 1, 1}, Compound: 3,
		ColdPressure: [4]float64{134, 129.5, 134, 130}, ABS: 4, TC: 3, Map: 1,
	}
}

func rpm(x float64) float64 { return x * 2 * math.Pi / 60 }

// validate reports every number that no car can have: one *OptionError each.
func (c *Car) validate() error {
	var errs []error
	bad := func(name, msg, hint string) { errs = append(errs, &OptionError{"Car." + name, msg, hint}) }
	within := func(name string, lo, hi float64, values ...float64) {
		for _, x := range values {
			if !(x >= lo && x <= hi) { // NaN is not
				bad(name, fmt.Sprintf("%g", x), fmt.Sprintf("use %g to %g; start from Baseline and change its levers", lo, hi))
				return
			}
		}
	}
	within("Mass", 100, 10000, c.Mass)
	within("FrontShare", 0.02, 0.98, c.FrontShare)
	within("Wheelbase", 0.5, 10, c.Wheelbase)
	within("CGHeight", 0, 2, c.CGHeight)
	within("Track", 0.5, 5, c.Track[:]...)
	within("TyreRadius", 0.1, 1, c.TyreRadius)
	within("TyreSize", 0.1, 10, c.TyreSize[:]...)
	within("Steering", 1, 50, c.Steering)
	within("RollSplit", 0.02, 0.98, c.RollSplit)
	within("Springs", 1e4, 1e6, c.Springs[:]...)
	within("Bars", -8, 8, c.Bars[:]...)
	within("PowerLock", -5, 5, c.PowerLock)
	within("CoastLock", -5, 5, c.CoastLock)
	within("Stiffness", 1e3, 1e15, c.Stiffness[:]...)
	within("StiffnessFall", 0, 0.9, c.StiffnessFall)
	within("GripFall", 0, 0.4, c.GripFall)
	within("Bend", 0, 1, c.Bend)
	within("Grip", 0.1, 4, c.Grip)
	within("Rolling", 0, 0.2, c.Rolling)
	within("DragArea", 0, 10, c.DragArea)
	within("LiftArea", 0, 10, c.LiftArea)
	within("AeroFront", 0, 1, c.AeroFront)
	within("Wing", -20, 20, c.Wing[:]...)
	within("Power", 1e3, 1e7, c.Power)
	within("PowerPeak", 50, 3000, c.PowerPeak)
	within("PowerFall", 0, 4, c.PowerFall)
	within("RevIdle", 10, 1000, c.RevIdle)
	within("RevShift", 50, 1e9, c.RevShift)
	within("RevLimit", 50, 1e9, c.RevLimit)
	within("EngineDrag", 0, 1000, c.EngineDrag)
	within("Gears", 0.1, 20, c.Gears[:]...)
	within("FinalDrive", 0.1, 20, c.FinalDrive)
	within("Driveline", 0.1, 1, c.Driveline)
	within("Efficiency", 0.01, 1, c.Efficiency)
	within("Density", 0.1, 2, c.Density)
	within("BrakeBias", 0.02, 0.98, c.BrakeBias)
	within("BrakeForce", 1e3, 1e9, c.BrakeForce)
	within("DiscMass", 0.1, 100, c.DiscMass[:]...)
	within("DiscHeat", 10, 1e4, c.DiscHeat)
	within("DiscStill", 0, 1000, c.DiscStill)
	within("DiscAir", 0, 100, c.DiscAir[:]...)
	within("Ducts", 0, 1.5, c.Ducts[:]...)
	within("ColdPressure", 0, 500, c.ColdPressure[:]...)
	if c.Compound < 1 || c.Compound >= len(compounds) {
		bad("Compound", fmt.Sprintf("compound %d", c.Compound), "use 1 soft, 2 medium, 3 hard, 4 intermediate or 5 wet")
	}
	return errors.Join(errs...)
}

// share is the part of mass on an axle at rest.
func (c *Car) share(axle int) float64 {
	if axle == 0 {
		return c.FrontShare
	}
	return 1 - c.FrontShare
}

// aero returns downforce of each axle and drag in N per (Pa of dynamic pressure), i.e. areas in m².
func (c *Car) aero() (lift [2]float64, drag float64) {
	lift[0] = max(0, c.LiftArea*c.AeroFront+wingLift*c.Wing[0])
	lift[1] = max(0, c.LiftArea*(1-c.AeroFront)+wingLift*c.Wing[1])
	return lift, max(0.1*c.DragArea, c.DragArea+wingDrag*(c.Wing[0]+c.Wing[1]))
}

// Gradient is the understeer gradient of the car with that mass on new tyres in their window, at low speed: rad per
// m/s² of lateral acceleration at the road wheels. K = m (share_f/C_f - share_r/C_r): Gillespie, Fundamentals of
// Vehicle Dynamics, chapter 6, from memory.
func (c *Car) Gradient(mass float64) float64 {
	return mass * (c.FrontShare/c.Stiffness[0] - (1-c.FrontShare)/c.Stiffness[1])
}

// power in W at the crank with full throttle.
func (c *Car) power(n float64) float64 {
	x := n/c.PowerPeak - 1
	if n > c.RevLimit {
		return 0
	}
	return max(0, c.Power*(1-c.PowerFall*x*x))
}

// launch is the engine speed at which the clutch slips when the car stands, as a share of PowerPeak.
const launch = 0.45

// drive returns the force in N at the driven wheels at v with full throttle in that gear (from 0).
func (c *Car) drive(v float64, gear int) float64 {
	ratio := c.Gears[gear] * c.FinalDrive / c.TyreRadius
	n := v * ratio
	if gear == 0 {
		n = max(n, launch*c.PowerPeak)
	}
	if n < c.RevIdle {
		return 0
	}
	return c.power(n) / n * ratio * c.Driveline
}

// bestDrive returns the force in the gear that gives most.
func (c *Car) bestDrive(v float64) float64 {
	best := 0.0
	for g := range c.Gears {
		best = max(best, c.drive(v, g))
	}
	return best
}
