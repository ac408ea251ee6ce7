package condition

import (
	"math"

	"earshot/assistant/car"
	"earshot/assistant/channel"
)

// compoundFit compares the surface and the distance with what the compound fitted is for, by the car file.
type compoundFit struct {
	of [8]car.Compound // by the label of channel.Compound
}

// The labels of channel.CompoundFit.
const (
	compoundFits = iota
	compoundTooCold
	compoundNotLasting
)

func (f *compoundFit) init(c *car.Car) {
	labels := channel.NewSet().At(channel.Compound).Labels
	for i := range f.of {
		f.of[i] = car.Compound{SurfaceLow: nan, SurfaceHigh: nan, MaxLaps: nan}
		if i < len(labels) {
			f.of[i], _ = c.Compound(labels[i])
		}
	}
}

func (f *compoundFit) step(row channel.Row) {
	row[channel.CompoundFit] = nan
	i := row[channel.Compound]
	if !(i >= 1 && int(i) < len(f.of)) {
		return
	}
	k := &f.of[int(i)]
	surface, toGo := row[channel.TrackTemperature], row[channel.LapsToGo]
	if math.IsNaN(k.SurfaceLow) && math.IsNaN(k.SurfaceHigh) || math.IsNaN(surface) {
		if math.IsNaN(k.MaxLaps) || math.IsNaN(toGo) {
			return
		}
	}
	switch {
	case surface > k.SurfaceHigh, toGo > k.MaxLaps && row[channel.StintLaps] == 0:
		row[channel.CompoundFit] = compoundNotLasting
	case surface < k.SurfaceLow:
		row[channel.CompoundFit] = compoundTooCold
	default:
		row[channel.CompoundFit] = compoundFits
	}
}
