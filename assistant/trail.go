package assistant

import (
	"earshot/assistant/channel"
)

// How far back a mark may lie, and how finely: a memo is spoken and recognised within a minute, and in 0.02 s a car at
// 80 m/s goes 1.6 m.
const (
	trailEvery = 0.02 // s
	trailKept  = 3000
)

// A place is where the car was and what it did.
type place struct {
	at                    float64 // s
	lap, distance, corner float64 // corner: the one that the car was in or had left last
	speed, gear, balance  float64
}

func placeOf(at float64, row channel.Row) place {
	return place{
		at: at, lap: row[channel.Lap], distance: row[channel.CoursePlace], corner: row[channel.CornerLast],
		speed: row[channel.Speed], gear: row[channel.Gear], balance: row[channel.Balance],
	}
}

// A trail holds the places of the last minute.
type trail struct {
	ring [trailKept]place
	next int
	full bool
}

func (p *trail) note(at float64, row channel.Row) {
	if last := p.last(); last != nil && at-last.at < trailEvery {
		return
	}
	p.ring[p.next] = placeOf(at, row)
	if p.next++; p.next == trailKept {
		p.next, p.full = 0, true
	}
}

func (p *trail) last() *place {
	if p.next == 0 && !p.full {
		return nil
	}
	return &p.ring[(p.next+trailKept-1)%trailKept]
}

// at returns the latest place that is not after t, if it is still known.
func (p *trail) at(t float64) (place, bool) {
	n := p.next
	if p.full {
		n = trailKept
	}
	for k := 1; k <= n; k++ {
		if x := p.ring[(p.next+trailKept-k)%trailKept]; x.at <= t {
			return x, true
		}
	}
	return place{}, false
}
