package honest_test

import (
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/emulator/honest"
)

var update = flag.Bool("update", false, "write the matrix into the firmware's page")

const page = "../../firmware-template/HONESTY.md"

// runCells runs cells and returns their texts.
func runCells(t *testing.T, cells []honest.Cell) map[honest.Cell]string {
	t.Helper()
	var cases []honest.Case
	for _, c := range cells {
		cases = append(cases, c.Cases()...)
	}
	outcomes, err := honest.Sweep(cases, nil)
	require.NoError(t, err)
	texts := map[honest.Cell]string{}
	for _, c := range cells {
		n := len(c.Cases())
		texts[c] = c.Text(outcomes[:n])
		outcomes = outcomes[n:]
	}
	return texts
}

// section returns what stands between two marks of the page, and what before and after it.
func section(t *testing.T, text, name string) (before, within, after string) {
	t.Helper()
	begin, end := "<!-- generated: "+name+" -->\n", "<!-- end: "+name+" -->"
	before, rest, found := strings.Cut(text, begin)
	require.True(t, found, "%s has no %q", page, begin)
	within, after, found = strings.Cut(rest, end)
	require.True(t, found, "%s has no %q", page, end)
	return before + begin, within, end + after
}

// TestMatrix: the page says what a run shows; by default some of the cells, by MEALTAB_HONEST=1 all. -update writes it.
func TestMatrix(t *testing.T) {
	src, err := os.ReadFile(page)
	require.NoError(t, err)
	cells := honest.Cells()
	if *update {
		before, _, after := section(t, string(src), "matrix")
		text := before + honest.Matrix(runCells(t, cells)) + after
		before, _, after = section(t, text, "exceptions")
		require.NoError(t, os.WriteFile(page, []byte(before+honest.Legend()+after), 0o644))
		return
	}
	_, legend, _ := section(t, string(src), "exceptions")
	require.Equal(t, honest.Legend(), legend, "regenerate: go test ./emulator/honest -run Matrix -update")
	_, matrix, _ := section(t, string(src), "matrix")
	if !deep {
		cells = someCells(cells)
	}
	for cell, text := range runCells(t, cells) {
		require.Equal(t, text, cellOf(t, matrix, cell), "%v; regenerate: go test ./emulator/honest -run Matrix -update", cell)
	}
}

// someCells takes every 37th cell, so that each board and most rows have their turn.
func someCells(cells []honest.Cell) (some []honest.Cell) {
	for i := 5; i < len(cells); i += 37 {
		some = append(some, cells[i])
	}
	return some
}

// cellOf reads a cell of the page.
func cellOf(t *testing.T, matrix string, cell honest.Cell) string {
	t.Helper()
	lines := strings.Split(matrix, "\n")
	column := -1
	for i, name := range strings.Split(lines[0], " | ") {
		if strings.Trim(name, "| ") == cell.Image {
			column = i
		}
	}
	for _, line := range lines {
		fields := strings.Split(strings.Trim(line, "| "), " | ")
		if fields[0] == cell.Fault && column > 0 && column < len(fields) {
			return fields[column]
		}
	}
	t.Fatalf("%s has no cell %v", page, cell)
	return ""
}
