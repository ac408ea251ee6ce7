// Package wav is a device that writes what it would play into a WAV file, in real
// time and with the silences in between. It is for tests, and for those who want
// to hear afterwards what was said.
package wav

import (
	"errors"
	"fmt"
	"os"

	"earshot/audio"
	"earshot/audio/device/internal/output"
	"earshot/audio/device/internal/paced"
)

// Rate is the sample rate of the files.
const Rate = 16000

// A Device plays into a file.
type Device struct{ *output.Output }

// Open creates the file, or empties it, and starts.
func Open(file string) (*Device, error) {
	f, err := os.Create(file)
	if err != nil {
		return nil, fmt.Errorf("opening the sound device wav: %w", err)
	}
	w, err := audio.NewWAVWriter(f, Rate)
	if err != nil {
		return nil, fmt.Errorf("opening the sound device wav: %w", errors.Join(err, f.Close()))
	}
	d := &Device{output.New("wav:"+file, Rate, 1)}
	go func() {
		err := paced.Run(d.Output, w.Write)
		d.Ended(errors.Join(err, w.Close(), f.Close()))
	}()
	return d, nil
}

// Close waits for what sounds, and completes the file.
func (d *Device) Close() error { return d.CloseAfter(2 * paced.Period) }
