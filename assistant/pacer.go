package assistant

import (
	"context"
	"time"
)

// A Pacer holds a replay to so many times the speed of the feed's clock.
type Pacer struct {
	speed float64
	begun bool
	begin time.Time
	first float64
}

// NewPacer returns a Pacer; speed 0 never waits.
func NewPacer(speed float64) *Pacer { return &Pacer{speed: speed} }

// Wait waits until at (s on the feed's clock) is due; the first one is due at once. It is false if ctx was done before.
func (p *Pacer) Wait(ctx context.Context, at float64) bool {
	if p.speed <= 0 {
		return ctx.Err() == nil
	}
	if !p.begun {
		p.begun, p.begin, p.first = true, time.Now(), at
	}
	wait := time.Until(p.begin.Add(time.Duration((at - p.first) / p.speed * float64(time.Second))))
	if wait <= 0 {
		return ctx.Err() == nil
	}
	t := time.NewTimer(wait)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
