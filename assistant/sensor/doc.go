// Package sensor finds the sensors that do not measure what they say, so that no stage and no rule believes them.
//
// A Guard stands between the readings of a sample and channel.Hold. It takes away
//
//   - a single reading that is farther from the one before than the quantity can have come: the last one stays in force,
//   - exactly 0 where that cannot be: a tyre without pressure from one reading to the next, a disc at 0 °C at speed,
//   - all readings of a sensor that stands still although it must move, or that gives nonsense for a second,
//
// and tells each trouble once by name. What a sensor must and cannot do is package channel's table of senses.
//
// A reading that repeats itself is no proof: a sensor that shows whole degrees repeats itself for minutes. It counts
// as frozen where the car has moved for Sense.Frozen seconds, three times the longest rest that the sensor has shown
// before, and its fellows (the same sensor of the other wheels, or its kin) have meanwhile moved by several of its
// steps and by more than they ever did in such a rest. Alone it counts as frozen only where its steps are much finer
// than what the car's braking must stir it by.
//
// A place (position, latitude and longitude, lap distance) is judged in the same way after five seconds, with the speeds as
// its fellows, and only where both coordinates stand still: a car may go due east.
//
// The package is pure. A Guard belongs to one goroutine and does not allocate once warm.
package sensor
