// Package names knows how time zones are called: by IANA, and by Windows.
//
// In: a name as somebody wrote it. Out: whether IANA's look like that, which of IANA's Windows means. Which zones there are says the
// data, in package zone.
package names

import (
	"regexp"
	"slices"
	"strings"
)

//go:generate go run ./internal/windowsgen -cldr 41 -to windows.go

// MaxLength is how many characters of a name are read; IANA's longest has 32, the longest of other registries are no longer than this.
const MaxLength = 64

// spelling is that of IANA's names: components of letters, digits and _ - +.
var spelling = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_+-]*(/[A-Za-z0-9_+-]+){0,3}$`)

// Spelled reports whether a name is spelt as IANA's are.
func Spelled(name string) bool { return spelling.MatchString(name) }

// areas are the first components of IANA's names.
var areas = []string{"Africa", "America", "Antarctica", "Arctic", "Asia", "Atlantic", "Australia", "Brazil", "Canada",
	"Chile", "Etc", "Europe", "Indian", "Mexico", "Pacific", "US"}

// countries are the areas whose names are no cities: "US/Eastern".
var countries = []string{"Brazil", "Canada", "Chile", "Etc", "Mexico", "US"}

// InArea reports whether a name begins with one of IANA's areas.
func InArea(name string) bool {
	area, _, slash := strings.Cut(name, "/")
	return slash && slices.Contains(areas, area)
}

// City is the city that a name is called after, with its spaces; "" for a name that has none.
func City(name string) string {
	area, _, _ := strings.Cut(name, "/")
	if !InArea(name) || slices.Contains(countries, area) {
		return ""
	}
	return strings.ReplaceAll(name[strings.LastIndexByte(name, '/')+1:], "_", " ")
}

// OfWindows is IANA's name for one of Windows, "" for every other name.
func OfWindows(name string) string { return windowsZones[name] }

// Regional reports whether CLDR takes an IANA zone for a whole region of Windows.
func Regional(iana string) bool {
	for windows, name := range windowsZones {
		if name == iana && !strings.HasPrefix(windows, "US ") { // "US Eastern" is the part that once had rules of its own
			return true
		}
	}
	return false
}
