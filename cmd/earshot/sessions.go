package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/session"
)

// listed is a session as --json writes it.
type listed struct {
	session.Manifest
	Path    string `json:"path"`
	Laps    int    `json:"laps"`
	Problem string `json:"problem,omitempty"`
}

func newSessions() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "sessions",
		Short:   "list the sessions that run has kept, newest first",
		Example: "  earshot sessions",
		Args:    cobra.NoArgs,
	}
	c.Flags().BoolVar(&asJSON, "json", false, "for programs")
	addSessionsFlag(c, "folder of the sessions")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, _ []string) error {
		root, err := r.SessionsFolder()
		if err != nil {
			return err
		}
		list, err := session.List(root)
		if err != nil {
			return err
		}
		if asJSON {
			out := make([]listed, len(list))
			for i, s := range list {
				out[i] = listed{s.Dir.Manifest, s.Dir.Path, s.Laps, s.Problem}
			}
			return writeJSON(c.OutOrStdout(), out)
		}
		if len(list) == 0 {
			fmt.Fprintf(c.OutOrStdout(), "no sessions in %s yet: earshot run makes them\n", root)
			return nil
		}
		rows := [][]string{{"session", "laps", "car", "course", "feed", ""}}
		for _, s := range list {
			m := s.Dir.Manifest
			rows = append(rows, []string{m.ID, fmt.Sprint(s.Laps), m.Car, m.Course, m.Feed, s.Problem})
		}
		table(c.OutOrStdout(), rows)
		return nil
	})
	return c
}
