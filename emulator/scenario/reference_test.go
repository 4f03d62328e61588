package scenario

import (
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReferenceNamesEverything: the page has every action and every key that a script can have.
func TestReferenceNamesEverything(t *testing.T) {
	src, err := os.ReadFile("SCENARIOS.md")
	require.NoError(t, err)
	page := string(src)
	for name, a := range actions {
		require.Contains(t, page, "`"+name+"`", "an action")
		for _, key := range strings.Split(a.keys, ", ") {
			require.Contains(t, page, "`"+key, "a key of %s", name)
		}
		for _, b := range a.bounds {
			require.Contains(t, a.keys, b.key, "%s bounds a key that it does not have", name)
			require.NotPanics(t, func() { (&Event{}).value(b.key) })
		}
	}
	for _, of := range []any{Script{}, Feeder{}, Event{}, Expect{}} {
		for i := range reflect.TypeOf(of).NumField() {
			key := reflect.TypeOf(of).Field(i).Tag.Get("toml")
			if key == "-" || key == "feeder" || key == "event" || key == "expect" {
				continue
			}
			require.Contains(t, page, "`"+key, "a key of %T", of)
		}
	}
}
