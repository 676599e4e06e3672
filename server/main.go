// Command polewise checks wired, untaped coil pads: it predicts the field a
// planned pad makes, takes what a phone reads over each coil, and says which
// coils face the wrong way, why, and what to do about it.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"polewise/field/verdict"
)

// Exit statuses. From 64 on they are those of BSD sysexits.
const (
	exitAsPlanned   = 0
	exitFault       = 1
	exitUndecided   = 2
	exitUsage       = 64
	exitData        = 65
	exitUnavailable = 69 // a port is taken; of feed: the bench does not answer, or refuses
	exitTrouble     = 70
)

// exitError carries an exit status with the words to print.
type exitError struct {
	status int
	err    error
}

func (e *exitError) Error() string { return e.err.Error() }
func (e *exitError) Unwrap() error { return e.err }

func usage(err error) error   { return &exitError{exitUsage, err} }
func badData(err error) error { return &exitError{exitData, err} }

// outcome is how judge ends: nothing went wrong, and the status tells the rest.
type outcome verdict.Outcome

func (o outcome) Error() string { return string(o) }

func main() {
	os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// untilStopped is for commands that have something to tidy up on Ctrl+C: their context
// ends. Others end at once, and so do these at a second.
func untilStopped(ctx context.Context) (context.Context, context.CancelFunc) {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	return ctx, stop
}

func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer) int {
	root := rootCommand()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errs)
	err := root.ExecuteContext(ctx)
	var exit *exitError
	var judged outcome
	switch {
	case err == nil:
		return exitAsPlanned
	case errors.As(err, &judged):
		switch verdict.Outcome(judged) {
		case verdict.AsPlanned:
			return exitAsPlanned
		case verdict.Fault:
			return exitFault
		}
		return exitUndecided
	case errors.As(err, &exit):
		fmt.Fprintln(errs, "polewise:", err)
		return exit.status
	}
	fmt.Fprintln(errs, "polewise:", err)
	return exitTrouble
}

func rootCommand() *cobra.Command {
	bench := benchCommand()
	root := &cobra.Command{
		Use:   "polewise",
		Short: "Check a wired coil pad before it is taped",
		Long: `polewise checks a wired, untaped pad of coils: which coil faces the wrong
way, why, and the smallest mend. Without a command it serves the bench page.

` + cautions,
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          noCommand,
		RunE:          bench.RunE,
	}
	root.Flags().AddFlagSet(bench.Flags())
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetFlagErrorFunc(flagWords)
	root.SetHelpCommand(helpCommand())
	root.AddCommand(bench, predictCommand(), judgeCommand(), rehearseCommand(), feedCommand())
	return root
}

// helpCommand is help of a command; of a word that is no command it says so.
func helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Say what a command does",
		RunE: func(c *cobra.Command, args []string) error {
			of, _, err := c.Root().Find(args)
			if err != nil || len(args) > 0 && of == c.Root() {
				return noCommand(c, args)
			}
			of.InitDefaultHelpFlag()
			return of.Help()
		},
	}
}

// noCommand refuses words that are no command.
func noCommand(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usage(fmt.Errorf("there is no command %q. See polewise --help", args[0]))
	}
	return nil
}

// onePlan demands the name of one plan file.
func onePlan(c *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usage(fmt.Errorf("expected one plan file, as in %s pad.toml, found %s. See %[1]s --help", c.CommandPath(), count(len(args), "argument")))
	}
	if args[0] == "-" {
		return usage(fmt.Errorf("\"-\" is standard input: a plan is read from a file only. See %s --help", c.CommandPath()))
	}
	return nil
}

const cautions = `While checking: low current only; never leave a driven pad alone; keep it away
from pacemakers, insulin pumps and other implants, magnetic cards and mechanical
watches; isolate the supply. Burning enamel gives off fumes. No medical claim is
made, and no rule of your place or licensed person is replaced.`
