package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
)

func newChannels() *cobra.Command {
	var asJSON, asMarkdown bool
	c := &cobra.Command{
		Use:   "channels [WORD ...]",
		Short: "list the channels that feeds give, rules read and Earshot works out",
		Long: `Channels lists the catalogue: what each channel measures, its unit inside, the units in which it may be
written, and whether the feed gives it or Earshot works it out. With WORDs it lists only the channels that have one of
them in their name. A feed file adds channels of its own under own_channels.`,
		Example: "  earshot channels pressure\n  earshot channels --json",
		Args:    cobra.ArbitraryArgs,
	}
	c.Flags().BoolVar(&asJSON, "json", false, "for programs")
	c.Flags().BoolVar(&asMarkdown, "markdown", false, "as the page configs/channels.md")
	c.RunE = func(c *cobra.Command, words []string) error {
		list := assembly.ListChannels(words)
		switch {
		case len(list) == 0:
			return fmt.Errorf("there is no channel with %s in its name", strings.Join(words, " or "))
		case asJSON:
			return writeJSON(c.OutOrStdout(), list)
		case asMarkdown:
			return assembly.ChannelsPage(c.OutOrStdout(), list)
		}
		rows := [][]string{{"channel", "quantity", "unit", "by", "about"}}
		for _, l := range assembly.PerCar(list) {
			rows = append(rows, []string{l.Name, l.Quantity, l.Unit, l.By, l.Text()})
		}
		table(c.OutOrStdout(), rows)
		fmt.Fprintln(c.OutOrStdout(), "\nunits in which a value may be written:")
		table(c.OutOrStdout(), assembly.UnitsOf(list, " "))
		return nil
	}
	return c
}
