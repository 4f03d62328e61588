package zone

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"mealtab/compiler/advice"
)

// Database is one release of the IANA data.
type Database struct {
	name    string
	version string
	read    func(zone string) ([]byte, error) // fs.ErrNotExist for a name that is not there
	list    func() []string
}

// unknownVersion stands for the release of a directory that does not say.
const unknownVersion = "unknown"

// Embedded returns the data inside the program: every zone and link of one release, see bundle.go.
func Embedded() *Database {
	b := bundle(embedded)
	return &Database{name: "embedded", version: b.version(), read: b.read, list: b.names}
}

// Dir returns the data of a directory laid out as /usr/share/zoneinfo is. Its release is read from
// tzdata.zi (the IANA code installs it) or +VERSION (BSD systems), and is "unknown" without them.
func Dir(path string) (*Database, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("time zone data: %w", err)
	}
	if !info.IsDir() {
		return nil, fmt.Errorf("time zone data: %s is not a directory; one with files such as Europe/Lisbon is needed", path)
	}
	return &Database{
		name:    path,
		version: dirVersion(path),
		read:    func(zone string) ([]byte, error) { return readZoneFile(path, zone) },
		list:    func() []string { return listZoneFiles(path) },
	}, nil
}

// systemDirs is where operating systems keep the data; $ZONEINFO comes first, as in Go's package time.
var systemDirs = []string{"/usr/share/zoneinfo", "/usr/share/lib/zoneinfo", "/usr/lib/locale/TZ", "/etc/zoneinfo"}

// System returns the newest data among $ZONEINFO and the operating system's usual directories.
func System() (*Database, error) {
	var newest *Database
	for _, path := range append([]string{os.Getenv("ZONEINFO")}, systemDirs...) {
		db, err := Dir(path)
		if err != nil {
			continue
		}
		if newest == nil || newer(db.version, newest.version) {
			newest = db
		}
	}
	if newest == nil {
		return nil, fmt.Errorf("time zone data: none in %s", strings.Join(systemDirs, ", "))
	}
	newest.name = "system"
	return newest, nil
}

// Default returns the newer of the system's data and the embedded; the embedded when they are equally old,
// because every machine has the same, and when the system does not say which release it has.
func Default() *Database {
	own := Embedded()
	if system, err := System(); err == nil && newer(system.version, own.version) {
		return system
	}
	return own
}

// Name returns "embedded", "system" or the directory.
func (db *Database) Name() string { return db.name }

// Version returns the release, such as "2026f".
func (db *Database) Version() string { return db.version }

// Names returns the names of all zones and links, sorted.
func (db *Database) Names() []string { return db.list() }

// Load reads one zone. The error for a name that is not there suggests names that are; [advice.Apart] parts the two.
func (db *Database) Load(name string) (*Zone, error) {
	if !validName(name) {
		hint := cmp.Or(didYouMean(name, db.Names()), "one such as \"Europe/Lisbon\" is needed")
		return nil, advice.New(fmt.Sprintf("%q is not a time zone name", name), hint)
	}
	file, err := db.read(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, advice.New(fmt.Sprintf("no time zone %q in the %s data, release %s", name, db.name, db.version), didYouMean(name, db.Names()))
	case err != nil:
		return nil, fmt.Errorf("time zone %s: %w", name, err)
	}
	return Parse(name, db.version, file)
}

// validName keeps a name inside the directory: letters, digits, and "+-_" in parts between slashes, as all
// IANA names are.
func validName(name string) bool {
	for part := range strings.SplitSeq(name, "/") {
		if part == "" {
			return false
		}
		for i := range len(part) {
			if b := part[i]; !isLetter(b) && !isDigit(b) && !strings.ContainsRune("+-_", rune(b)) {
				return false
			}
		}
	}
	return true
}

// maxFileSize bounds what is read from a directory. The largest file in use has under 4 KB.
const maxFileSize = 1 << 20

func readZoneFile(dir, zone string) ([]byte, error) {
	path := filepath.Join(dir, filepath.FromSlash(zone))
	info, err := os.Stat(path)
	if err != nil {
		return nil, fs.ErrNotExist
	}
	if info.IsDir() {
		return nil, fs.ErrNotExist
	}
	if info.Size() > maxFileSize {
		return nil, fmt.Errorf("%s has %d bytes, too many for a time zone", path, info.Size())
	}
	return os.ReadFile(path)
}

// listZoneFiles finds the TZif files. The trees "posix" and "right" repeat all the others.
func listZoneFiles(dir string) []string {
	var names []string
	_ = filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
		if err != nil {
			return nil // an unreadable corner only makes the list shorter
		}
		name, _ := filepath.Rel(dir, path)
		name = filepath.ToSlash(name)
		if entry.IsDir() {
			if name == "posix" || name == "right" {
				return filepath.SkipDir
			}
			return nil
		}
		if validName(name) && isTZif(path) && name != "localtime" && name != "posixrules" {
			names = append(names, name)
		}
		return nil
	})
	sort.Strings(names)
	return names
}

func isTZif(path string) bool { return strings.HasPrefix(firstLine(path), "TZif") }

func dirVersion(dir string) string {
	if v, ok := strings.CutPrefix(firstLine(filepath.Join(dir, "tzdata.zi")), "# version "); ok {
		return strings.TrimSpace(v)
	}
	if v := strings.TrimSpace(firstLine(filepath.Join(dir, "+VERSION"))); v != "" {
		return v
	}
	return unknownVersion
}

// firstLine returns the beginning of a file up to its first newline, "" if there is none to be read.
func firstLine(path string) string {
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	var b [64]byte
	n, _ := f.Read(b[:])
	line, _, _ := strings.Cut(string(b[:n]), "\n")
	return line
}

// newer reports whether release a came after release b. A release is a year and letters; after z come za,
// zb and so on. What is no release is older than all that are.
func newer(a, b string) bool {
	yearA, lettersA := splitVersion(a)
	yearB, lettersB := splitVersion(b)
	switch {
	case yearA != yearB:
		return yearA > yearB
	case len(lettersA) != len(lettersB):
		return len(lettersA) > len(lettersB)
	}
	return lettersA > lettersB
}

func splitVersion(v string) (year, letters string) {
	i := 0
	for i < len(v) && isDigit(v[i]) {
		i++
	}
	if i != 4 {
		return "", ""
	}
	j := i
	for j < len(v) && v[j] >= 'a' && v[j] <= 'z' {
		j++
	}
	return v[:i], v[i:j]
}
