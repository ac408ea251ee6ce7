// Package silent is a device that makes no sound but takes as long as one that
// does, so that everything around it behaves as if it were heard.
package silent

import (
	"earshot/audio/device/internal/output"
	"earshot/audio/device/internal/paced"
)

// A Device plays into nothing.
type Device struct{ *output.Output }

// Open starts the device; Close ends it.
func Open() *Device {
	d := &Device{output.New("silent", 16000, 1)}
	go func() {
		d.Ended(paced.Run(d.Output, func([]float32) error { return nil }))
	}()
	return d
}

// Close waits for what would sound and ends the device.
func (d *Device) Close() error { return d.CloseAfter(0) }
