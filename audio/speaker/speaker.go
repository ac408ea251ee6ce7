// Package speaker says texts through a sound device, one after the other.
//
// Making a clip may take its time, as where a synthesiser is asked; a goroutine of its own does that, and whoever
// wants something said never waits.
package speaker

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"earshot/audio"
	"earshot/audio/device"
	"earshot/audio/voice"
)

// mostWaiting is how many texts may wait. There is hardly ever more than one, as a text is given when it is to be
// said: where more wait, the first of them is the stalest and gives way.
const mostWaiting = 4

// ErrBehind says that a text was given up because others waited behind it.
var ErrBehind = errors.New("the sound is behind: a cue was not played")

// A Voice makes clips of texts.
type Voice interface {
	Ready() error // makes the first clip come without delay
	Say(ctx context.Context, text string) (audio.Clip, voice.Report, error)
}

// A Speaker plays what is to be said. Its methods may be called from any goroutine.
type Speaker struct {
	voice   Voice
	device  device.Device
	trouble func(error)

	mu     sync.Mutex
	queue  []string
	making context.CancelFunc // ends the making of the clip under way; nil: none is
	closed bool
	wake   chan struct{} // holds one
	ended  chan struct{}
}

// New returns a Speaker that owns d. trouble is told of every text that could not be said, unless the device is lost,
// which the device tells; it is called from the Speaker's goroutine and from Say.
func New(v Voice, d device.Device, trouble func(error)) *Speaker {
	s := &Speaker{voice: v, device: d, trouble: trouble, wake: make(chan struct{}, 1), ended: make(chan struct{})}
	go s.run()
	return s
}

// Say has a text said after those before it.
func (s *Speaker) Say(text string) {
	s.mu.Lock()
	late := len(s.queue) == mostWaiting
	if late {
		s.queue = s.queue[1:]
	}
	s.queue = append(s.queue, text)
	s.mu.Unlock()
	s.poke()
	if late {
		s.trouble(ErrBehind)
	}
}

// Hush cuts what sounds, what is being made and what waits.
func (s *Speaker) Hush() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.queue = nil
	if s.making != nil {
		s.making()
		s.making = nil
	}
	s.device.Stop()
}

// Close lets what waits be said and gives the device back.
func (s *Speaker) Close() error {
	s.mu.Lock()
	s.closed = true
	s.mu.Unlock()
	s.poke()
	<-s.ended
	return s.device.Close()
}

func (s *Speaker) poke() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

func (s *Speaker) run() {
	defer close(s.ended)
	if err := s.voice.Ready(); err != nil {
		s.trouble(fmt.Errorf("the voice: %w", err))
	}
	for {
		text, ctx, closed := s.next()
		switch {
		case ctx != nil:
			if err := s.say(ctx, text); err != nil && !errors.Is(err, device.ErrLost) {
				s.trouble(err)
			}
		case closed:
			return
		default:
			<-s.wake
		}
	}
}

// next takes the next text; ctx is done when it shall not be said after all, and nil where nothing waits.
func (s *Speaker) next() (text string, ctx context.Context, closed bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.queue) == 0 {
		return "", nil, s.closed
	}
	text, s.queue = s.queue[0], s.queue[1:]
	ctx, s.making = context.WithCancel(context.Background())
	return text, ctx, false
}

func (s *Speaker) say(ctx context.Context, text string) error {
	clip, report, err := s.voice.Say(ctx, text)
	s.mu.Lock()
	defer s.mu.Unlock()
	if ctx.Err() != nil {
		return nil // it was hushed
	}
	s.making()
	s.making = nil
	if err == nil {
		err = s.device.Play(clip)
	}
	return errors.Join(err, report.Problem)
}
