package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/debrief"
)

func newDebrief() *cobra.Command {
	var page string
	var asJSON bool
	c := &cobra.Command{
		Use:   "debrief [SESSION]",
		Short: "turn a session's marks and data into setup notes",
		Long: `Debrief reads a session's journal and prints what it came to: laps, marks by corner with what the data
showed there, fuel, and the cold pressures for the hot target. It also writes a page for the browser, into
the session's folder unless --page says otherwise.

SESSION is an id or the beginning of one, "last", a session's folder, or the path of a journal. Default: last.

` + cautions,
		Example: "  earshot debrief\n  earshot debrief 20260412 --page notes.html",
		Args:    cobra.MaximumNArgs(1),
	}
	addSessionsFlag(c, "folder of the sessions")
	c.Flags().StringVar(&page, "page", "", "where the page goes")
	c.Flags().String("car", "", "car file for limits, targets and minimum pressures (default: that of the session)")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON instead of text")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, args []string) error {
		ref := "last"
		if len(args) == 1 {
			ref = args[0]
		}
		found, events, err := r.Events(ref)
		if err != nil {
			return err
		}
		if found.Car == nil || c.Flags().Changed("car") {
			if r.Car == "" {
				r.Tell("the car of this session is not known, so no limit, target or minimum of it is assumed: name " +
					"its file, --car FILE")
			}
			if found.Car, err = r.ReadCar(); err != nil {
				return err
			}
		}
		report := r.Debrief(events, found.Car)
		if page == "" {
			page = found.Page
		}
		if err := assembly.WritePage(page, report); err != nil {
			return err
		}
		if asJSON {
			return writeJSON(c.OutOrStdout(), report)
		}
		if err := debrief.WriteText(c.OutOrStdout(), report); err != nil {
			return err
		}
		fmt.Fprintf(c.OutOrStdout(), "\npage: %s\n", page)
		return nil
	})
	return c
}
