package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/audio/device"
)

func newSay() *cobra.Command {
	c := &cobra.Command{
		Use:   "say TEXT",
		Short: "say a text as a cue would be said",
		Long: "Say speaks a text through the sound device, from the voice that ships where it has the words, " +
			"else by an\ninstalled synthesiser, else spelled.",
		Example: "  earshot say \"Fuel, two point four laps short.\"\n  earshot say --device wav:cue.wav \"Front " +
			"left hot, 112.\"",
		Args: cobra.MinimumNArgs(1),
	}
	c.Flags().String("voice", "", "name of a voice")
	c.Flags().String("device", "", "sound device: auto, pulse, oto, portaudio, wav:FILE, silent (default: auto)")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, args []string) (err error) {
		v, err := assembly.OpenVoice(r.Voice)
		if err != nil {
			return err
		}
		if err := v.Ready(); err != nil {
			return fmt.Errorf("the voice %s: %w", v.Name(), err)
		}
		tell := r.Tell
		clip, report, err := v.Say(c.Context(), strings.Join(args, " "))
		if err != nil {
			return err
		}
		if report.Problem != nil {
			tell(report.Problem.Error())
		}
		if len(report.Missing) > 0 {
			tell(fmt.Sprintf("said by %s; the voice lacks: %s", report.By, strings.Join(report.Missing, ", ")))
		}
		d, err := device.Open(c.Context(), r.Device, tell)
		if err != nil {
			return err
		}
		if err := d.Play(clip); err != nil {
			return errors.Join(err, d.Close())
		}
		return d.Close()
	})
	return c
}
