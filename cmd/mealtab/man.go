package main

import (
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manCommand writes the manual pages, dated by SOURCE_DATE_EPOCH or today; a release calls it. The help says the same, so it is not listed there.
func (a *app) manCommand() *cobra.Command {
	return &cobra.Command{
		Use:    "man DIR",
		Short:  "Write the manual pages into a directory",
		Hidden: true,
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return err
			}
			root := cmd.Root()
			root.DisableAutoGenTag = true // it would name today
			return doc.GenManTree(root, &doc.GenManHeader{Title: "MEALTAB", Section: "1", Source: "mealtab", Manual: "mealtab"}, args[0])
		},
	}
}
