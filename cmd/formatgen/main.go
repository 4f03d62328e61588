// Command formatgen writes what is derived from the Go descriptions of the formats and from the descriptions of the boards: the firmware's
// headers and the tables of the specifications. In: packages table, frame and profile. Out: files in the tree, named by [outputs].
//
// Usage: go generate ./compiler/table, or for the header of a board that is described elsewhere: formatgen -board mine.toml >mine.h
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"mealtab/compiler/profile"
)

func main() {
	board := flag.String("board", "", "write the C header of this board, a TOML `FILE`, to standard output, and nothing else")
	wiring := flag.Bool("wiring", false, "with -board: write its table of pins instead")
	flag.Parse()
	work := run
	if *board != "" {
		work = func() error { return ownBoard(*board, *wiring) }
	}
	if err := work(); err != nil {
		fmt.Fprintln(os.Stderr, "formatgen:", err)
		os.Exit(1)
	}
}

func run() error {
	root, err := moduleRoot()
	if err != nil {
		return err
	}
	files, err := outputs(root)
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(root, f.path), []byte(f.text), 0o644); err != nil {
			return err
		}
	}
	return nil
}

func ownBoard(path string, wiring bool) error {
	p, err := profile.Load(path)
	if err != nil {
		return err
	}
	text := p.Header()
	if wiring {
		text = wiringTable(p)
	}
	_, err = os.Stdout.WriteString(text)
	return err
}

// output is one generated file, its path relative to the module.
type output struct{ path, text string }

// specifications are written by hand; only their marked blocks are replaced.
var specifications = []string{"compiler/table/FORMAT.md", "firmware-template/STORAGE.md", "flasher/frame/MESSAGES.md"}

// outputs renders everything in memory.
func outputs(root string) ([]output, error) {
	files := []output{
		{"firmware-template/src/table_format.h", tableHeader()},
		{"firmware-template/src/line_format.h", lineHeader()},
	}
	for _, p := range profile.Boards() {
		files = append(files, output{"firmware-template/boards/" + p.Name + ".h", p.Header()})
	}
	texts := specifications
	for _, p := range wiringPages() {
		svg, err := wiringDrawing(p)
		if err != nil {
			return nil, err
		}
		blocks["pins of "+p.Name] = func() string { return wiringTable(p) }
		files = append(files, output{"firmware-template/boards/" + p.Name + ".svg", svg})
		texts = append(texts, "firmware-template/boards/"+p.Name+".md")
	}
	for _, path := range texts {
		old, err := os.ReadFile(filepath.Join(root, path))
		if err != nil {
			return nil, fmt.Errorf("%w: write the page, with a block for what is generated as the others have it", err)
		}
		text, err := fillBlocks(string(old))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		files = append(files, output{path, text})
	}
	return files, nil
}

// moduleRoot is the nearest directory upwards that holds go.mod.
func moduleRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			return "", fmt.Errorf("no go.mod in this directory or above")
		}
		dir = parent
	}
}
