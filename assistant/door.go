package assistant

import (
	"errors"
	"sync"
	"time"

	"earshot/assistant/hand"
	"earshot/assistant/journal"
	"earshot/rules"
)

// What a Door refuses.
var (
	ErrShut = errors.New("the session has ended")
	ErrFull = errors.New("too much waits already: the assistant does not keep up")
)

// doorRoom is how many inputs may wait at a Door. The core empties it as soon as it is free: more is a flood.
const doorRoom = 1024

// A Door is the one way into a live run for everything but samples. What comes in is handled in its order and recorded.
// Its methods may be called from any goroutine and never wait.
type Door struct {
	mu    sync.Mutex
	queue []arrival
	shut  bool
	wake  chan struct{} // holds one: something waits
}

// An arrival is an Input that is still to be stamped.
type arrival struct {
	in      Input
	pressed time.Time // when the driver pressed, on the local clock; for requests
}

// NewDoor returns an open door.
func NewDoor() *Door { return &Door{wake: make(chan struct{}, 1)} }

// Ask hands in a request. pressed is when the driver pressed, on the local clock; zero is now.
func (d *Door) Ask(r hand.Request, pressed time.Time) error {
	if pressed.IsZero() {
		pressed = time.Now()
	}
	return d.put(arrival{Input{Kind: KindCommand, Request: &r}, pressed})
}

// Health hands in the state of a part.
func (d *Door) Health(h journal.Health) error {
	return d.put(arrival{in: Input{Kind: KindHealth, Health: &h}})
}

// Rules hands in all rules files that are to be in force from now on.
func (d *Door) Rules(files []rules.Source) error {
	return d.put(arrival{in: Input{Kind: KindRules, Rules: files}})
}

func (d *Door) put(a arrival) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.shut:
		return ErrShut
	case len(d.queue) >= doorRoom:
		return ErrFull
	}
	d.queue = append(d.queue, a)
	select {
	case d.wake <- struct{}{}:
	default:
	}
	return nil
}

// waiting empties the door and returns what was in it.
func (d *Door) waiting() []arrival {
	d.mu.Lock()
	defer d.mu.Unlock()
	list := d.queue
	d.queue = nil
	return list
}

// close makes the door refuse everything from now on, and returns what was still in it.
func (d *Door) close() []arrival {
	d.mu.Lock()
	d.shut = true
	d.mu.Unlock()
	return d.waiting()
}
