package zone

import (
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// 598 names, 447 of them zones, none empty: counted in tzdata.zi of release 2026f built with "backzone".
func TestEmbeddedIsComplete(t *testing.T) {
	db := Embedded()
	assert.Equal(t, "embedded", db.Name())
	assert.Equal(t, "2026f", db.Version())
	names := db.Names()
	assert.Len(t, names, 598)
	assert.True(t, slices.IsSorted(names))
	distinct := map[string]bool{}
	withDST := 0
	for _, name := range names {
		b, err := db.read(name)
		require.NoError(t, err)
		distinct[string(b)] = true
		z, err := db.Load(name)
		require.NoError(t, err)
		assert.Equal(t, name, z.Name())
		assert.Equal(t, "2026f", z.Version())
		if f, ok := z.Footer(); ok && f.DST != nil {
			withDST++
		}
	}
	assert.Len(t, distinct, 447)
	assert.Equal(t, 190, withDST)
	for _, name := range canonicalNames(t) {
		assert.Contains(t, names, name)
	}
}

// The embedded files were made slim by this project; where the system has the same release they must agree,
// and its links must lead to the same zones.
func TestEmbeddedIsTheSystems(t *testing.T) {
	system, err := System()
	require.NoError(t, err, "install the package tzdata")
	if system.Version() != Embedded().Version() {
		t.Logf("system data are %s, embedded %s: nothing to compare", system.Version(), Embedded().Version())
		return
	}
	assert.Equal(t, Embedded().Names(), system.Names())
	for _, name := range Embedded().Names() {
		fat, err := system.Load(name)
		require.NoError(t, err)
		slim := load(t, name)
		require.Equal(t, fat.spans, slim.spans, name)
	}
}

func TestBundleStaysSmall(t *testing.T) {
	assert.Less(t, len(embedded), 450_000)
}

func TestLoadErrors(t *testing.T) {
	const start = `no time zone "%" in the embedded data, release 2026f`
	for _, c := range []struct{ name, want string }{
		{"Europe/Lisbo", start + `; did you mean "Europe/Lisbon"?`},
		{"europe/lisbon", start + `; did you mean "Europe/Lisbon"?`},
		{"Lisbon", start + `; did you mean "Europe/Lisbon"?`},
		{"America/New_Yrok", start + `; did you mean "America/New_York"?`},
		{"Kolkatta", start + `; did you mean "Asia/Kolkata"?`},
		{"Europe", start},
		{"Middle-earth/Bywater", start},
		{"", `"" is not a time zone name; one such as "Europe/Lisbon" is needed`},
		{"../passwd", `"../passwd" is not a time zone name; one such as "Europe/Lisbon" is needed`},
		{"/etc/localtime", `"/etc/localtime" is not a time zone name; one such as "Europe/Lisbon" is needed`},
		{"Europe//Lisbon", `"Europe//Lisbon" is not a time zone name; did you mean "Europe/Lisbon"?`},
		{"New York", `"New York" is not a time zone name; did you mean "America/New_York"?`},
	} {
		_, err := Embedded().Load(c.name)
		assert.EqualError(t, err, strings.ReplaceAll(c.want, "%", c.name))
	}
}

// tree makes a directory with the given files.
func tree(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, content := range files {
		writeFile(t, filepath.Join(dir, name), []byte(content))
	}
	return dir
}

func TestDirVersion(t *testing.T) {
	for _, c := range []struct {
		files map[string]string
		want  string
	}{
		{map[string]string{"tzdata.zi": "# version 2026f\n# redo posix_only\n"}, "2026f"},
		{map[string]string{"+VERSION": "2024a\n"}, "2024a"},
		{map[string]string{"+VERSION": "2024a\n", "tzdata.zi": "# version 2025b\n"}, "2025b"},
		{map[string]string{"tzdata.zi": "R d 1916 o - Jun 14 23s 1 S\n"}, "unknown"},
		{nil, "unknown"},
	} {
		db, err := Dir(tree(t, c.files))
		require.NoError(t, err)
		assert.Equal(t, c.want, db.Version())
	}
}

func TestDirNamesAndLoad(t *testing.T) {
	berlin, err := Embedded().read("Europe/Berlin")
	require.NoError(t, err)
	dir := tree(t, map[string]string{"Europe/Berlin": string(berlin), "posix/Europe/Berlin": string(berlin), "localtime": string(berlin),
		"zone.tab": "# text", "Europe/Huge": "TZif" + strings.Repeat("x", maxFileSize), "+VERSION": "2026f"})
	db, err := Dir(dir)
	require.NoError(t, err)
	assert.Equal(t, []string{"Europe/Berlin", "Europe/Huge"}, db.Names())
	z, err := db.Load("Europe/Berlin")
	require.NoError(t, err)
	assert.Equal(t, load(t, "Europe/Berlin").spans, z.spans)
	_, err = db.Load("Europe")
	assert.ErrorContains(t, err, `no time zone "Europe" in the `+dir+` data`)
	_, err = db.Load("Europe/Huge")
	assert.ErrorContains(t, err, "too many for a time zone")
	_, err = db.Load("zone.tab")
	assert.ErrorContains(t, err, "is not a time zone name")
}

func TestDirErrors(t *testing.T) {
	dir := tree(t, map[string]string{"file": ""})
	_, err := Dir(filepath.Join(dir, "file"))
	assert.ErrorContains(t, err, "is not a directory; one with files such as Europe/Lisbon is needed")
	_, err = Dir(filepath.Join(dir, "nothing"))
	assert.ErrorIs(t, err, fs.ErrNotExist)
}

// atSystemDirs makes System look only at the given directories, and at none in $ZONEINFO.
func atSystemDirs(t *testing.T, dirs ...string) {
	t.Helper()
	t.Setenv("ZONEINFO", "")
	saved := systemDirs
	systemDirs = dirs
	t.Cleanup(func() { systemDirs = saved })
}

func TestDefaultIsTheNewest(t *testing.T) {
	version := func(v string) string { return tree(t, map[string]string{"+VERSION": v}) }
	for _, c := range []struct {
		dirs          []string
		name, version string
	}{
		{nil, "embedded", "2026f"},
		{[]string{version("2025c")}, "embedded", "2026f"},
		{[]string{version("2026f")}, "embedded", "2026f"},
		{[]string{tree(t, nil)}, "embedded", "2026f"}, // says no release
		{[]string{version("2026g")}, "system", "2026g"},
		{[]string{version("2026g"), version("2027a"), version("2026z")}, "system", "2027a"},
	} {
		atSystemDirs(t, c.dirs...)
		db := Default()
		assert.Equal(t, c.name, db.Name(), c.version)
		assert.Equal(t, c.version, db.Version())
	}
	atSystemDirs(t, version("2026g"))
	t.Setenv("ZONEINFO", version("2028b"))
	assert.Equal(t, "2028b", Default().Version())
}

func TestSystemWithoutData(t *testing.T) {
	atSystemDirs(t, filepath.Join(t.TempDir(), "none"))
	_, err := System()
	assert.ErrorContains(t, err, "time zone data: none in ")
}

// The IANA names releases by year and letter; after z come za, zb (tz-link; from memory).
func TestNewer(t *testing.T) {
	order := []string{"unknown", "2025c", "2026a", "2026f", "2026z", "2026za", "2026zb", "2027a"}
	for i, a := range order {
		for j, b := range order {
			assert.Equal(t, i > j, newer(a, b), "%s newer than %s", a, b)
		}
	}
	assert.False(t, newer("2025b-dirty", "2025b"))
}

func TestBundleNamesAreValid(t *testing.T) {
	for _, name := range Embedded().Names() {
		assert.True(t, validName(name), name)
	}
}
