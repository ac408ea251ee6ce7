package device

import (
	"errors"
	"fmt"
	"os"
	"time"

	"earshot/audio"
)

// pacedRate is the sample rate of the devices without hardware, and of the files that they write.
const pacedRate = 16000

// pacedPeriod is how much sound such a device mixes at a time.
const pacedPeriod = 10 * time.Millisecond

// A paced device has no hardware: the clock drives it. It takes as long as one that sounds, so that everything around
// it behaves as if it were heard.
type paced struct {
	*output
	latency time.Duration
}

// Close waits for what sounds, and completes the file.
func (d paced) Close() error { return d.closeAfter(d.latency) }

// openSilent starts a device that makes no sound.
func openSilent() Device {
	d := paced{newOutput("silent", pacedRate), 0}
	go func() { d.ended(d.run(func([]float32) error { return nil })) }()
	return d
}

// openWAV creates the file, or empties it, and writes what would be played into it, in real time and with the silences
// in between: for tests, and for those who want to hear afterwards what was said.
func openWAV(file string) (Device, error) {
	f, err := os.Create(file)
	if err != nil {
		return nil, fmt.Errorf("opening the sound device wav: %w", err)
	}
	w, err := audio.NewWAVWriter(f, pacedRate)
	if err != nil {
		return nil, fmt.Errorf("opening the sound device wav: %w", errors.Join(err, f.Close()))
	}
	d := paced{newOutput("wav:"+file, pacedRate), 2 * pacedPeriod}
	go func() {
		err := d.run(w.Write)
		d.ended(errors.Join(err, w.Close(), f.Close()))
	}()
	return d, nil
}

// run mixes in real time until the device has to end, and gives every block to sink. When the goroutine was held up it
// catches up, so the sound is as long as the time that passed. It returns the first error of sink; the device is lost
// from then on.
func (d paced) run(sink func(block []float32) error) error {
	block := make([]float32, pacedRate*int(pacedPeriod)/int(time.Second))
	tick := time.NewTicker(pacedPeriod)
	defer tick.Stop()
	begin := time.Now()
	for frames := 0; ; {
		due := int(time.Since(begin).Seconds() * pacedRate)
		for ; frames+len(block) <= due; frames += len(block) {
			d.mixer.Mix(block)
			if err := sink(block); err != nil {
				d.lose(err)
				<-d.ending
				return err
			}
		}
		select {
		case <-tick.C:
		case <-d.ending:
			return nil
		}
	}
}
