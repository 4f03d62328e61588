package main

import (
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// shells are those that the command writes completions for, with the names they look for.
var shells = []struct{ shell, file string }{
	{"bash", "mealtab.bash"}, {"zsh", "_mealtab"}, {"fish", "mealtab.fish"}, {"powershell", "mealtab.ps1"},
}

// papers are the files of every archive beside the command: documents, manual pages, completions, licences.
func papers(sources, work string, when time.Time) (files []file, err error) {
	for from, to := range map[string]string{"README.md": "README.md", "LICENSE": "LICENSE", "compiler/food/ration/OWNER.md": "OWNER.md"} {
		data, err := os.ReadFile(filepath.Join(sources, from))
		if err != nil {
			return nil, err
		}
		files = append(files, file{to, 0o644, data})
	}
	pages, err := manuals(sources, work, when)
	if err != nil {
		return nil, err
	}
	terms, err := licences(sources)
	if err != nil {
		return nil, err
	}
	files = slices.Concat(files, pages, terms)
	slices.SortFunc(files, func(a, b file) int { return strings.Compare(a.name, b.name) })
	return files, nil
}

// manuals asks the command itself for manual pages and completions.
func manuals(sources, work string, when time.Time) (files []file, err error) {
	command, err := filepath.Abs(filepath.Join(work, "here", "mealtab"))
	if err != nil {
		return nil, err
	}
	if _, err := output(sources, nil, "go", "build", "-o", command, "./cmd/mealtab"); err != nil {
		return nil, err
	}
	for _, s := range shells {
		text, err := output(sources, nil, command, "completion", s.shell)
		if err != nil {
			return nil, err
		}
		files = append(files, file{"completions/" + s.file, 0o644, []byte(text)})
	}
	dir := filepath.Join(filepath.Dir(command), "man")
	dated := []string{fmt.Sprintf("SOURCE_DATE_EPOCH=%d", when.Unix())}
	if _, err := output(sources, dated, command, "man", dir); err != nil {
		return nil, err
	}
	pages, err := filepath.Glob(filepath.Join(dir, "*.1"))
	if err != nil || len(pages) == 0 {
		return nil, fmt.Errorf("no manual pages in %s: %v", dir, err)
	}
	for _, page := range pages {
		data, err := os.ReadFile(page)
		if err != nil {
			return nil, err
		}
		files = append(files, file{"man/" + filepath.Base(page), 0o644, data})
	}
	return files, nil
}

// packages are Debian's of which the command carries something: code in the firmware, time zones, names of zones.
var packages = []string{"avr-libc", "gcc-avr", "tzdata", "unicode-cldr-core"}

// licences collects the licence of every module that is in the command on any target, Go's own, and those of [packages].
func licences(sources string) (files []file, err error) {
	dirs := map[string]string{}
	for _, t := range targets {
		out, err := output(sources, []string{"GOOS=" + t.os, "GOARCH=" + t.arch, "CGO_ENABLED=0"},
			"go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}}@{{.Version}} {{.Dir}}{{end}}{{end}}", "./cmd/mealtab")
		if err != nil {
			return nil, err
		}
		for line := range strings.Lines(out) {
			if module, dir, ok := strings.Cut(strings.TrimSpace(line), " "); ok {
				dirs[module] = dir
			}
		}
	}
	root, err := output(sources, nil, "go", "env", "GOROOT")
	if err != nil {
		return nil, err
	}
	dirs["go"] = strings.TrimSpace(root)
	for module, dir := range dirs {
		found, err := licencesIn(dir)
		if err != nil {
			return nil, err
		}
		if len(found) == 0 {
			return nil, fmt.Errorf("no licence was found for %s", module)
		}
		for name, data := range found {
			files = append(files, file{path.Join("licences", module, name), 0o644, data})
		}
	}
	for _, p := range packages {
		data, err := os.ReadFile(filepath.Join("/usr/share/doc", p, "copyright"))
		if err != nil {
			return nil, fmt.Errorf("the licence of %s: %w; ./check packages installs it", p, err)
		}
		files = append(files, file{path.Join("licences", p, "copyright"), 0o644, data})
	}
	return files, nil
}

// licencesIn reads the files of a directory that carry a licence, by the names in use.
func licencesIn(dir string) (map[string][]byte, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	found := map[string][]byte{}
	for _, e := range entries {
		upper := strings.ToUpper(e.Name())
		named := slices.ContainsFunc([]string{"LICENSE", "LICENCE", "COPYING", "NOTICE"}, func(p string) bool { return strings.HasPrefix(upper, p) })
		if e.IsDir() || !named {
			continue
		}
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return nil, err
		}
		found[e.Name()] = data
	}
	return found, nil
}
