package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"mealtab/compiler/prose"
)

// helpWidth is the most that a line of help has.
const helpWidth = 100

// tidy keeps the help of a command and of those below it within helpWidth, and the words of the program's libraries out of what is
// said about a wrong value.
func tidy(cmd *cobra.Command) {
	cmd.SetUsageTemplate(strings.NewReplacer(".LocalFlags.FlagUsages", "flagHelp .LocalFlags", ".InheritedFlags.FlagUsages", "flagHelp .InheritedFlags").Replace(cmd.UsageTemplate()))
	cmd.SetHelpTemplate(strings.Replace(cmd.HelpTemplate(), "(or .Long .Short)", "(flow (or .Long .Short))", 1))
	cmd.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		var bad *pflag.InvalidValueError
		if !errors.As(err, &bad) {
			return err
		}
		flag := bad.GetFlag()
		switch flag.Value.Type() {
		case "int":
			return fmt.Errorf("--%s %q is not a whole number", flag.Name, bad.GetValue())
		case "bool":
			return fmt.Errorf("--%s %q is neither true nor false", flag.Name, bad.GetValue())
		}
		return err
	})
}

// flow sets paragraphs anew; one with a line that is indented stays as it is.
func flow(text string) string {
	paragraphs := strings.Split(text, "\n\n")
	for i, p := range paragraphs {
		if !strings.Contains(p, "\n ") {
			paragraphs[i] = strings.TrimSuffix(prose.Wrap("", strings.Join(strings.Fields(p), " ")), "\n")
		}
	}
	return strings.Join(paragraphs, "\n\n")
}

// flagHelp describes flags in lines of at most helpWidth characters.
func flagHelp(flags *pflag.FlagSet) string {
	list := pflag.NewFlagSet("", pflag.ContinueOnError)
	list.SortFlags = false
	flags.VisitAll(func(f *pflag.Flag) {
		flowing := *f
		flowing.Usage = strings.Join(strings.Fields(f.Usage), " ")
		list.AddFlag(&flowing)
	})
	return list.FlagUsagesWrapped(helpWidth)
}
