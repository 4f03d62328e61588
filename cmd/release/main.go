// Command release builds the archives that people without Go download: one for each system, with the command, its manual pages,
// completions for four shells, the licences of everything in it, and the sums of all archives.
//
// In: a version and a directory. Out: archives and SHA256SUMS there. Everything is built twice, the second time from a copy of the
// sources elsewhere; a byte that differs is an error, and so is a binary that needs a library of the system.
package main

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// target is a system to build for.
type target struct{ os, arch, arm string }

func (t target) name() string {
	if t.arm != "" {
		return t.os + "-armv" + t.arm
	}
	return t.os + "-" + t.arch
}

func (t target) program() string {
	if t.os == "windows" {
		return "mealtab.exe"
	}
	return "mealtab"
}

var targets = []target{
	{os: "linux", arch: "amd64"}, {os: "linux", arch: "arm64"}, {os: "linux", arch: "arm", arm: "6"},
	{os: "darwin", arch: "amd64"}, {os: "darwin", arch: "arm64"}, {os: "windows", arch: "amd64"},
}

func main() {
	version := flag.String("version", "", "what the release is called (default: the commit)")
	out := flag.String("out", "artifacts", "directory for the archives")
	flag.Parse()
	if flag.NArg() > 0 {
		fmt.Fprintln(os.Stderr, "release: it takes flags only; see --help")
		os.Exit(2)
	}
	if err := release(*version, *out); err != nil {
		fmt.Fprintln(os.Stderr, "release:", err)
		os.Exit(1)
	}
}

func release(version, out string) error {
	commit, when, err := head()
	if err != nil {
		return err
	}
	if version == "" {
		version = commit
	}
	work, err := os.MkdirTemp("", "release-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)

	first, err := archives(version, when, ".", filepath.Join(work, "first"))
	if err != nil {
		return err
	}
	elsewhere := filepath.Join(work, "elsewhere", "sources")
	if err := copySources(elsewhere); err != nil {
		return err
	}
	second, err := archives(version, when, elsewhere, filepath.Join(work, "second"))
	if err != nil {
		return err
	}
	return publish(first, second, out)
}

// head is the commit that is checked out, and its time, which all files in the archives bear.
func head() (commit string, when time.Time, err error) {
	text, err := output(".", nil, "git", "log", "-1", "--format=%h %ct")
	if err != nil {
		return "", when, err
	}
	commit, seconds, _ := strings.Cut(strings.TrimSpace(text), " ")
	n, err := strconv.ParseInt(seconds, 10, 64)
	return commit, time.Unix(n, 0).UTC(), err
}

// copySources puts what is committed, and nothing else, into a directory of another name.
func copySources(to string) error {
	if err := os.MkdirAll(to, 0o755); err != nil {
		return err
	}
	tar, err := output(".", nil, "git", "archive", "HEAD")
	if err != nil {
		return err
	}
	cmd := exec.Command("tar", "-x", "-C", to)
	cmd.Stdin = strings.NewReader(tar)
	return cmd.Run()
}

// archives builds for every target from the sources in a directory, and returns the archives' bytes by name.
func archives(version string, when time.Time, sources, work string) (map[string][]byte, error) {
	extra, err := papers(sources, work, when)
	if err != nil {
		return nil, err
	}
	made := map[string][]byte{}
	for _, t := range targets {
		binary, err := build(version, sources, filepath.Join(work, t.name(), t.program()), t)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", t.name(), err)
		}
		name := "mealtab-" + version + "-" + t.name()
		files := append([]file{{t.program(), 0o755, binary}}, extra...)
		pack, suffix := tarball, ".tar.gz"
		if t.os == "windows" {
			pack, suffix = zipped, ".zip"
		}
		if made[name+suffix], err = pack(name, when, files); err != nil {
			return nil, err
		}
	}
	return made, nil
}

// build returns the bytes of the command for a target.
func build(version, sources, to string, t target) ([]byte, error) {
	to, err := filepath.Abs(to)
	if err != nil {
		return nil, err
	}
	env := []string{"CGO_ENABLED=0", "GOOS=" + t.os, "GOARCH=" + t.arch, "GOARM=" + t.arm, "GOFLAGS="}
	_, err = output(sources, env, "go", "build", "-trimpath", "-buildvcs=false", "-ldflags", "-s -w -buildid= -X main.release="+version, "-o", to, "./cmd/mealtab")
	if err != nil {
		return nil, err
	}
	if t.os == "linux" {
		if err := static(to); err != nil {
			return nil, err
		}
	}
	return os.ReadFile(to)
}

// publish writes the archives and their sums, if both buildings made the same.
func publish(first, second map[string][]byte, out string) error {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	var sums bytes.Buffer
	var differ []error
	for _, name := range sorted(first) {
		if !bytes.Equal(first[name], second[name]) {
			differ = append(differ, fmt.Errorf("%s differs when it is built again elsewhere", name))
			continue
		}
		if err := os.WriteFile(filepath.Join(out, name), first[name], 0o644); err != nil {
			return err
		}
		sum := fmt.Sprintf("%x  %s\n", sha256.Sum256(first[name]), name)
		sums.WriteString(sum)
		fmt.Printf("%9d bytes  %s", len(first[name]), sum)
	}
	if err := errors.Join(differ...); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(out, "SHA256SUMS"), sums.Bytes(), 0o644)
}

func sorted(m map[string][]byte) (names []string) {
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// output runs a command in a directory and returns what it prints; the error carries what it complains of.
func output(dir string, env []string, name string, args ...string) (string, error) {
	cmd := exec.Command(name, args...)
	cmd.Dir, cmd.Env = dir, append(os.Environ(), env...)
	var complaint bytes.Buffer
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		return "", fmt.Errorf("%s %s: %w\n%s", name, strings.Join(args, " "), err, complaint.String())
	}
	return string(out), nil
}
