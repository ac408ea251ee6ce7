// Package paced drives a mixer by the clock, for devices without hardware.
package paced

import (
	"time"

	"earshot/audio/device/internal/output"
)

// Period is how much sound is mixed at a time.
const Period = 10 * time.Millisecond

// Run mixes in real time until the output ends, and gives every block to sink.
// When the goroutine was held up it catches up, so the sound is as long as the
// time that passed. It returns the first error of sink; the output is lost from
// then on. It calls neither Ended nor anything that opens or closes the sink.
func Run(o *output.Output, sink func(block []float32) error) error {
	m := o.Mixer()
	n := max(1, m.Rate()*int(Period)/int(time.Second))
	block := make([]float32, n*m.Channels())
	tick := time.NewTicker(Period)
	defer tick.Stop()
	begin := time.Now()
	for frames := 0; ; {
		due := int(time.Since(begin).Seconds() * float64(m.Rate()))
		for ; frames+n <= due; frames += n {
			m.Mix(block)
			if err := sink(block); err != nil {
				o.Lose(err)
				<-o.Ending()
				return err
			}
		}
		select {
		case <-tick.C:
		case <-o.Ending():
			return nil
		}
	}
}
