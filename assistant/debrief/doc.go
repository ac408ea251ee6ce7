// Package debrief turns the events of a session into the report that the driver reads
// beside the car: laps, fuel, marks by corner with what the data showed there, cold pressures
// for the next run, and what was said and not said.
//
//	journal.Read ─▶ events ─┐
//	car, units, notes ──────┴─▶ Build ─▶ Report ─▶ WriteText, WriteHTML, encoding/json
//
// Build is a pure function. It never invents a number: what the journal does not tell stays
// unknown, is written as "–" and left out of the JSON. Every figure can be traced to
// events; a figure that is worked out says from how many laps. The package never opens a file
// and never uses the network; the page that it writes needs neither.
//
// Inside a Report the units are those of the journal (seconds, m/s, °C, kPa, litres,
// radians). The writers convert to Report.Units, and the sentences are in those units
// already.
package debrief
