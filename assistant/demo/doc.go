// Package demo is a simulated car on an invented course: the first impression for
// somebody without a car, and the known truth for every test.
//
//	course (straights, arcs, clothoids) ─┐
//	car (masses, aero, tyres, brakes) ───┼─▶ speed plan ─▶ driver ─▶ motion ─▶ heat ─▶ readings
//	faults (by lap and corner) ──────────┤
//	world (rivals, flags, stops, weather)┘
//
// Method: quasi-steady lap simulation of a point mass with two axles. The speed
// at each metre of the course is bounded by the grip of the tyres in the bend; a pass against the
// direction of travel bounds it by braking, a pass along it by traction and power (as published for
// example by Lenzo and Rossi, Applied Sciences 10(4), 1498, 2020, abstract read; the friction
// circle and the method in general: Milliken and Milliken, Race Car Vehicle Dynamics, 1995,
// from memory). The driver follows that plan with lag, noise of line and noise from lap to lap, and plans
// anew every 120 m with the tyres, brakes and fuel as they are by then. Steering and yaw follow from the steady
// bicycle model with four wheel loads; heat follows from the work done; faults change the car
// or the driver, never a reading.
//
// Around it is what a race has besides: rivals that are points with a seeded pace, a race by laps or by time whose flag
// falls to the leader, stops, cautions, rain, an engine that runs warm. Each is off unless the Options ask for it.
// Table and Object write samples as text that the codecs read back bit for bit, Receiver and Bus as what a car's own
// devices would tell of them; Truth, as JSON, is what really happened.
//
// The car, the course and every name on it are invented. Values without a source
// beside them are common practice, no source, or chosen so that the car behaves like one of its kind.
//
// The package is pure: no clock, file, network, lock, log or goroutine. The same Options give the same samples, bit
// for bit on one kind of processor. It never looks at what the rest of the program makes of its readings.
package demo
