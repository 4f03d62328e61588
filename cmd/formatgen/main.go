// Command formatgen writes what is derived from the Go descriptions of the formats: the firmware's headers and the
// tables of the specifications. In: packages table and frame. Out: files in the tree, named by [outputs].
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

// specifications are written by hand; only their marked blocks are replaced.
var specifications = []string{"compiler/table/FORMAT.md", "firmware-template/STORAGE.md", "flasher/frame/MESSAGES.md"}

// outputs renders everything in memory.
func outputs(root string) ([]output, error) {
	files := []output{
		{"firmware-template/src/table_format.h", tableHeader()},
		{"firmware-template/src/line_format.h", lineHeader()},
	}
	for _, path := range specifications {
		old, err := os.ReadFile(filepath.Join(root, path))
		if err != nil {
			return nil, err
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
