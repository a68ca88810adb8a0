package cli

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// helpCommand is the verb help. One that there is no help for is wrong usage.
func helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "help [VERB]",
		Short:   "Say what a verb does, its flags and examples",
		Example: "  fairpull help gain",
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			var verbs []string
			if len(args) == 0 {
				for _, verb := range cmd.Root().Commands() {
					if verb.IsAvailableCommand() {
						verbs = append(verbs, cobra.CompletionWithDesc(verb.Name(), verb.Short))
					}
				}
			}
			return verbs, cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			verb, rest, err := cmd.Root().Find(args)
			if err != nil || len(rest) > 0 {
				return &usageError{fmt.Errorf("there is no help on %q, as there is no such verb", strings.Join(args, " ")), "fairpull help"}
			}
			verb.InitDefaultHelpFlag()
			return verb.Help()
		},
	}
}

// flagError words what is wrong with a flag for a person, and names a command
// that shows how it is used.
func flagError(cmd *cobra.Command, err error) error {
	var invalid *pflag.InvalidValueError
	if errors.As(err, &invalid) {
		flag := invalid.GetFlag()
		err = fmt.Errorf("--%s is %s, and %q is none", flag.Name, wanted(flag.Value.Type()), invalid.GetValue())
	}
	return &usageError{err, cmd.CommandPath() + " --help"}
}

// wanted names what a flag of that type takes.
func wanted(kind string) string {
	switch kind {
	case "uint64":
		return "a whole number from 0 to 2^64 - 1"
	case "int", "int64":
		return "a whole number"
	case "float64":
		return "a number"
	case "float64Slice":
		return "a list of numbers with commas between them"
	case "bool":
		return "yes or no (true or false)"
	}
	return "a value of type " + kind
}
