// Command formatgen writes what is derived from the Go descriptions of the formats: the firmware's headers and the
// tables of FORMAT.md. In: packages table and frame. Out: files in the tree, named by [outputs].
//
// Usage: go generate ./compiler/table
package main

import (
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	if err := run(); err != nil {
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

// output is one generated file, its path relative to the module.
type output struct{ path, text string }

const specification = "compiler/table/FORMAT.md"

// outputs renders everything in memory. The specification is written by hand and only its marked blocks are
// replaced, so it is read first; it may not exist yet.
func outputs(root string) ([]output, error) {
	files := []output{
		{"firmware-template/src/table_format.h", tableHeader()},
		{"firmware-template/src/line_format.h", lineHeader()},
	}
	old, err := os.ReadFile(filepath.Join(root, specification))
	if os.IsNotExist(err) {
		return files, nil
	}
	if err != nil {
		return nil, err
	}
	text, err := fillBlocks(string(old))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", specification, err)
	}
	return append(files, output{specification, text}), nil
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
