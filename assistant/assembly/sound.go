package assembly

import (
	"context"
	"fmt"
	"os"

	"earshot/assistant"
	"earshot/audio"
	"earshot/audio/speaker"
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

// A deviceSpeaker plays through a sound device.
type deviceSpeaker struct{ *speaker.Speaker }

func (s deviceSpeaker) Say(u assistant.Utterance) { s.Speaker.Say(u.Text) }
func (s deviceSpeaker) Hush(float64)              { s.Speaker.Hush() }
