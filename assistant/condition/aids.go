package condition

import (
	"math"

	"earshot/assistant/channel"
)

// aidSettles is how long a setting has to last to count, s: a driver turns through others on the way to the one that he wants, and a feed may
// give a wrong one for a sample. Common practice, no source.
const aidSettles = 1.0

// biasClick is the least change of the brake bias that is a setting and not noise, as a share at the front. Common practice, no source.
const biasClick = 0.001

// aids follow what the driver sets, and what it was when the stint began.
type aids [4]struct{ now, since, set, start float64 }

var aidChannels = [4]channel.ID{channel.ABSLevel, channel.TractionControl, channel.BrakeBias, channel.EngineMap}

func (a *aids) init() {
	for i := range a {
		a[i].now, a[i].set, a[i].start = math.NaN(), math.NaN(), math.NaN()
	}
}

// stint begins a stint with what is set now.
func (a *aids) stint() {
	for i := range a {
		a[i].start = a[i].set
	}
}

func (a *aids) step(at float64, row channel.Row) {
	for i := range a {
		x := &a[i]
		v := row[aidChannels[i]]
		least := 0.0
		if aidChannels[i] == channel.BrakeBias {
			least = 0.99 * biasClick
		}
		if !(math.Abs(v-x.now) <= least) {
			x.now, x.since = v, at
		}
		if at-x.since >= aidSettles && !math.IsNaN(x.now) && !(math.Abs(x.now-x.set) <= least) {
			x.set = x.now
		}
		if math.IsNaN(x.start) {
			x.start = x.set
		}
		row[channel.ABSSet+channel.ID(i)], row[channel.ABSStart+channel.ID(i)] = x.set, x.start
	}
}
