// Package known keeps what this computer knows of the tables that it has put on feeders: a table has no room for names.
//
// In: a table, and the names of its plan. Out: the same names, when the table is met again. They are kept in the user's cache directory, a file a
// table; where that cannot be written or has been emptied, meals have numbers, and nothing else is lost.
package known

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"mealtab/compiler/table"
)

// Names are what a plan calls things.
type Names struct {
	Table []byte   `json:"table"` // with sequence number 0: all of it, for two tables may have the same check
	Plan  string   `json:"plan"`
	Zone  string   `json:"zone"`  // IANA
	Meals []string `json:"meals"` // in the table's order
	// Presets are in the table's order; nil where the plan has none, and where they are not known.
	Presets []string `json:"presets,omitempty"`
}

// most is how many tables are remembered; those that were met longest ago are forgotten.
const most = 200

func directory() (string, error) {
	dir, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "mealtab", "tables"), nil
}

// file is where a table's names are: by the check at its end, which says nothing of its number on the feeder. (A check over the check as well would be
// the same for every table.)
func file(dir string, tab []byte) string {
	return filepath.Join(dir, fmt.Sprintf("%04x.json", table.CRC(tab[:len(tab)-2])))
}

var errShort = errors.New("that is no table")

// Keep remembers the names of a table.
func Keep(tab []byte, n Names) error {
	if _, err := table.Decode(tab); err != nil {
		return errShort
	}
	dir, err := directory()
	if err != nil {
		return err
	}
	n.Table = table.WithSequence(tab, 0)
	text, err := json.Marshal(n)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	if err := replace(file(dir, n.Table), text); err != nil {
		return err
	}
	forget(dir)
	return nil
}

// Of gives the names of a table; ok is false where none are known.
func Of(tab []byte) (n Names, ok bool) {
	dir, err := directory()
	t, bad := table.Decode(tab)
	if err != nil || bad != nil {
		return Names{}, false
	}
	tab = table.WithSequence(tab, 0)
	name := file(dir, tab)
	text, err := os.ReadFile(name)
	if err != nil || json.Unmarshal(text, &n) != nil || !bytes.Equal(n.Table, tab) || len(n.Meals) != len(t.Meals) {
		return Names{}, false
	}
	now := time.Now()
	_ = os.Chtimes(name, now, now)
	return n, true
}

// forget removes the oldest files beyond the most.
func forget(dir string) {
	files, err := os.ReadDir(dir)
	if err != nil || len(files) <= most {
		return
	}
	met := func(e os.DirEntry) int64 {
		if info, err := e.Info(); err == nil {
			return info.ModTime().UnixNano()
		}
		return 0
	}
	files = slices.DeleteFunc(files, func(e os.DirEntry) bool { return !strings.HasSuffix(e.Name(), ".json") })
	slices.SortFunc(files, func(a, b os.DirEntry) int { return int(min(1, max(-1, met(a)-met(b)))) })
	for _, e := range files[:max(0, len(files)-most)] {
		_ = os.Remove(filepath.Join(dir, e.Name()))
	}
}
