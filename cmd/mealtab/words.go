package main

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// lineWidth is the most that is put on a line of text: what fits a usual terminal.
const lineWidth = 96

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
			paragraphs[i] = strings.TrimSuffix(wrap("", strings.Join(strings.Fields(p), " ")), "\n")
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

// wrap breaks a text at spaces, so that with the head of the first line and the indent of the others no line is longer than
// lineWidth.
func wrap(head, text string) string {
	indent := strings.Repeat(" ", utf8.RuneCountInString(head))
	var b strings.Builder
	b.WriteString(head)
	room := lineWidth - len(indent)
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case n+1 > room:
			b.WriteString("\n" + indent)
			room = lineWidth - len(indent)
		default:
			b.WriteByte(' ')
			room--
		}
		b.WriteString(word)
		room -= n
	}
	return b.String() + "\n"
}
