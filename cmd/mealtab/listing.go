package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"mealtab/compiler/prose"
	"mealtab/compiler/table"
)

func (a *app) listingCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "listing TABLE|PLAN",
		Short: "Explain a table byte by byte",
		Long: `Explain every byte of a table, as an assembler's listing does: place, bytes, field, meaning.
TABLE is a table as compile writes it (raw or Intel HEX), or a dump of a board's whole EEPROM,
of which the bank in force is shown. A PLAN is compiled first. "-" is standard input.`,
		Example: `  mealtab listing plan.table
  mealtab listing plan.toml
  mealtab compile plan.toml -o - | mealtab listing -`,
		Args: one("TABLE or PLAN"),
		RunE: func(_ *cobra.Command, args []string) error {
			bytes, _, err := a.loadTable(args[0])
			if err != nil {
				return err
			}
			return a.listing(bytes)
		},
	}
}

func (a *app) listing(bytes []byte) error {
	lines, err := table.Listing(bytes)
	if err != nil {
		return err
	}
	var b strings.Builder
	if err := table.WriteListing(&b, lines); err != nil {
		return err
	}
	for line := range strings.Lines(b.String()) {
		a.listingLine(strings.TrimSuffix(line, "\n"))
	}
	_, err = fmt.Fprintf(a.out, "%d bytes\n", len(bytes))
	return err
}

// meaningColumn is where the meaning stands in a line of a listing.
const meaningColumn = 49

// listingLine writes a line of a listing; a long meaning goes on below itself.
func (a *app) listingLine(line string) {
	if len(line) <= helpWidth {
		fmt.Fprintln(a.out, line)
		return
	}
	fmt.Fprint(a.out, prose.Wrap(line[:meaningColumn], line[meaningColumn:]))
}
