package main

import (
	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/hand"
)

func newKeys() *cobra.Command {
	return &cobra.Command{
		Use:   "keys",
		Short: "show which key does what",
		Long: `Keys shows the bindings in force and everything that can be bound: the commands, and each question that
the rules answer, your own (ask: weather) included. Set them in the configuration file, keys: {mark: F9}, or as
EARSHOT_KEYS_MARK=F9. An empty key removes a binding.`,
		Example: "  earshot keys\n  EARSHOT_KEYS_MARK=space earshot keys",
		Args:    cobra.NoArgs,
		RunE: configured(func(c *cobra.Command, r assembly.Request, _ []string) error {
			p, err := assembly.Build(r)
			if err != nil {
				return err
			}
			if _, err := p.Bindings(); err != nil {
				return err
			}
			rows := [][]string{{"command", "key", "what it does"}}
			for _, command := range hand.Commands(p.Rules.Asks()) {
				key := r.Keys[string(command)]
				if key == "" {
					key = "-"
				}
				rows = append(rows, []string{string(command), key, command.About()})
			}
			table(c.OutOrStdout(), rows)
			return nil
		}),
	}
}
