package reader_test

import (
	"fmt"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"mealtab/compiler/plan"
)

var hinted = regexp.MustCompile(`"[^"]+"`)

// What a hint says to write instead is accepted: whatever the number, the sign and the key.
func TestAmountHintsAreAccepted(t *testing.T) {
	const frame = "zone = \"Etc/UTC\"\nlate = %s\n[wheel]\npocket = %s\nturn = %s\n[hopper]\nholds = %s\n[[meal]]\nname = \"a\"\nportion = %s\nat = [\"07:00\"]\n"
	good := []any{`"2h"`, `"6 g"`, `"310 ms"`, `"1.4 kg"`, `"18 g"`}
	rapid.Check(t, func(t *rapid.T) {
		key := rapid.IntRange(0, len(good)-1).Draw(t, "key")
		number := fmt.Sprint(rapid.IntRange(-60, 3000).Draw(t, "number"))
		if rapid.Bool().Draw(t, "fraction") {
			number += ".5"
		}
		bad := rapid.SampledFrom([]string{number, `"` + number + `"`, `"` + number + ` g"`, `"` + number + ` kg"`}).Draw(t, "written")
		values := append([]any{}, good...)
		values[key] = bad
		_, ds := checked.Parse("p.toml", fmt.Appendf(nil, frame, values...))
		for _, d := range ds {
			if d.Severity != plan.Error {
				continue
			}
			for _, value := range hinted.FindAllString(d.Hint, -1) {
				values[key] = value
				p, again := checked.Parse("p.toml", fmt.Appendf(nil, frame, values...))
				require.NotNil(t, p, "%s → %s: %v", bad, value, again)
			}
			if isMass := key != 0 && key != 2; isMass {
				assert.NotEmpty(t, d.Hint, d.Message)
			}
		}
	})
}
