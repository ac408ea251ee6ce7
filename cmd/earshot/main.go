// Command earshot listens to a car's telemetry, says what a pit-wall engineer
// would say, marks corners at the press of a button and writes the debrief.
//
// This package reads flags and configuration, opens files and devices and prints;
// what happens to a sample is decided in package assistant.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"earshot/assistant/assembly"
	"earshot/configs/document"
)

// Exit codes of every command.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
)

func main() { os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// Main runs the command line args and returns the exit code. Tests call it in place of a process.
func Main(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	fmt.Fprintf(stderr, "earshot: %s\n", err)
	if ue := (*usageError)(nil); errors.As(err, &ue) {
		fmt.Fprintf(stderr, "try: earshot %s--help\n", ue.command)
		return exitUsage
	}
	return exitFailed
}

// A usageError is a command line that makes no sense.
type usageError struct {
	command string // "run ", or empty
	err     error
}

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

func usage(c *cobra.Command, format string, args ...any) error {
	return &usageError{commandName(c), fmt.Errorf(format, args...)}
}

func commandName(c *cobra.Command) string {
	if c == nil || !c.HasParent() {
		return ""
	}
	return strings.TrimPrefix(c.CommandPath(), c.Root().Name()+" ") + " "
}

const cautions = `For simulators and closed courses, never for public roads. Earshot advises and
controls nothing: the driver stays responsible, flags and marshals outrank any cue, makers'
limits and licensed technicians outrank any suggestion.`

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "earshot",
		Short: "a voice and a button for the driver who sets up his car alone",
		Long: `Earshot reads a car's telemetry, says what a pit-wall engineer would say when there is
room to listen, marks a corner when a button is pressed, and writes the debrief.

` + cautions,
		Example:       "  earshot demo\n  earshot run --feed myfeed.yaml --car mycar.yaml",
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.ArbitraryArgs,
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return c.Help()
			}
			hint := ""
			if near := c.SuggestionsFor(args[0]); len(near) > 0 {
				hint = fmt.Sprintf(": did you mean %s?", strings.Join(near, " or "))
			}
			return usage(c, "there is no command %q%s", args[0], hint)
		},
		SuggestionsMinimumDistance: 2,
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(wrongFlag)
	root.PersistentFlags().String("config", "", "configuration file (default: earshot.yaml in the user's "+
		"configuration folder)")
	root.AddCommand(newDemo(), newRun(), newReplay(), newCheck(), newSay(), newDebrief(), newSessions(), newKeys(),
		newExport(), newFuel(), newPressures(), newProbe(), newCourse(), newChannels())
	for _, c := range root.Commands() {
		wrapUse(c)
	}
	return root
}

// wrongFlag suggests a flag in place of an unknown one.
func wrongFlag(c *cobra.Command, err error) error {
	hint := ""
	if name, ok := strings.CutPrefix(err.Error(), "unknown flag: --"); ok {
		var known []string
		c.Flags().VisitAll(func(f *pflag.Flag) { known = append(known, "--"+f.Name) })
		if hint = document.Meant("--"+name, known, ""); hint != "" {
			hint = ": " + hint
		}
	}
	return usage(c, "%s%s", err, hint)
}

// wrapUse turns a wrong number of arguments, and a CallError of assembly, into a usage error.
func wrapUse(c *cobra.Command) {
	check, run := c.Args, c.RunE
	if check == nil {
		check = cobra.NoArgs
	}
	c.Args = func(c *cobra.Command, args []string) error {
		if err := check(c, args); err != nil {
			return usage(c, "%s", err)
		}
		return nil
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		err := run(c, args)
		if errors.As(err, new(*assembly.CallError)) {
			return usage(c, "%w", err)
		}
		return err
	}
}
