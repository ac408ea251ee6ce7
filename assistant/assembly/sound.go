package assembly

import (
	"context"
	"fmt"
	"os"
	"sync"

	"earshot/assistant"
	"earshot/audio"
	"earshot/audio/device"
	"earshot/audio/voice"
)

// trackRate is enough for speech and keeps an hour below 60 MB.
const trackRate = 16000

// trackSpeaker writes what the driver would have heard to a file, on the clock of the session.
type trackSpeaker struct {
	voice *voice.Voice
	file  *os.File
	track *audio.Track
	err   error
}

func newTrackSpeaker(v *voice.Voice, path string) (*trackSpeaker, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("the sound file: %w", err)
	}
	if err := v.Ready(); err != nil {
		f.Close()
		return nil, fmt.Errorf("the voice %s: %w", v.Name(), err)
	}
	t, err := audio.NewTrack(f, trackRate)
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("the sound file %s: %w", path, err)
	}
	return &trackSpeaker{voice: v, file: f, track: t}, nil
}

func (s *trackSpeaker) Say(u assistant.Utterance) {
	clip, _, err := s.voice.Say(context.Background(), u.Text)
	if err == nil {
		err = s.track.Place(u.At, clip)
	}
	s.keep(err)
}

func (s *trackSpeaker) Hush(at float64) { s.keep(s.track.Cut(at)) }

func (s *trackSpeaker) keep(err error) {
	if s.err == nil {
		s.err = err
	}
}

func (s *trackSpeaker) close(end float64) error {
	s.keep(s.track.Close(end))
	s.keep(s.file.Close())
	if s.err != nil {
		return fmt.Errorf("the sound file %s: %w", s.file.Name(), s.err)
	}
	return nil
}

// deviceSpeaker plays through a sound device. A goroutine of its own makes the clips, since a synthesiser
// may take its time; the loop never waits for it.
type deviceSpeaker struct {
	voice  *voice.Voice
	device device.Device
	tell   func(string) // one line for people; may be called from the goroutine
	jobs   chan speech
	ended  sync.WaitGroup
}

type speech struct {
	text string
	hush bool
}

func newDeviceSpeaker(v *voice.Voice, d device.Device, tell func(string)) *deviceSpeaker {
	s := &deviceSpeaker{voice: v, device: d, tell: tell, jobs: make(chan speech, 16)}
	s.ended.Add(1)
	go func() {
		defer s.ended.Done()
		if err := v.Ready(); err != nil { // so that the first cue need not wait for it
			tell(fmt.Sprintf("speech: the voice %s: %v", v.Name(), err))
		}
		for j := range s.jobs {
			s.do(j)
		}
	}()
	return s
}

func (s *deviceSpeaker) do(j speech) {
	if j.hush {
		s.device.Stop()
		return
	}
	clip, report, err := s.voice.Say(context.Background(), j.text)
	if err == nil {
		err = s.device.Play(clip)
	}
	if err == nil {
		err = report.Problem
	}
	if err != nil {
		s.tell(fmt.Sprintf("speech: %v", err))
	}
}

func (s *deviceSpeaker) Say(u assistant.Utterance) { s.put(speech{text: u.Text}) }
func (s *deviceSpeaker) Hush(float64)              { s.put(speech{hush: true}) }

func (s *deviceSpeaker) put(j speech) {
	select {
	case s.jobs <- j:
	default:
		s.tell("speech: the sound device is behind; a cue was not played")
	}
}

// close lets what is sounding end.
func (s *deviceSpeaker) close() error {
	close(s.jobs)
	s.ended.Wait()
	return s.device.Close()
}

// speakers passes everything on to each of them.
type speakers []assistant.Speaker

func (s speakers) Say(u assistant.Utterance) {
	for _, one := range s {
		one.Say(u)
	}
}

func (s speakers) Hush(at float64) {
	for _, one := range s {
		one.Hush(at)
	}
}
