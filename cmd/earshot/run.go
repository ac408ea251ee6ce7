package main

import (
	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/assembly"
)

func newRun() *cobra.Command {
	c := &cobra.Command{
		Use:   "run",
		Short: "listen to a live feed, speak, mark corners, record",
		Long: `Run listens to the source in the feed file until Ctrl-C (or SIGTERM), speaks through the sound device,
takes key presses whatever window has the focus, and keeps journal and recording in a session folder.
Afterwards: earshot debrief.

It keeps the best lap and the best sectors of this car and compound on this course from session to session, and compares
the lap in progress with them at equal distance. --reference compares with a lap of your choice.

` + cautions,
		Example: `  earshot run --feed myfeed.yaml --car mycar.yaml
  earshot run --feed myfeed.yaml --course mycourse.yaml --reference last:7`,
		Args: cobra.NoArgs,
	}
	addFileFlags(c)
	addBestsFlags(c)
	c.Flags().String("device", "", "sound device: auto, pulse, oto, portaudio, wav:FILE, silent (default: auto)")
	addCoursesFlag(c, "folder of the saved courses, or none (default: the user's state folder)")
	addSessionsFlag(c, "folder for the sessions")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, _ []string) error {
		r.Saved = true
		p, err := assembly.Build(r)
		if err != nil {
			return err
		}
		return p.Run(c.Context(), assistant.SpeakTo(printSpeaker{c.OutOrStdout()}))
	})
	return c
}
