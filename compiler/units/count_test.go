package units

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

func TestNumbers(t *testing.T) {
	assert.Equal(t, "0", Thousands(0))
	assert.Equal(t, "999", Thousands(999))
	assert.Equal(t, "1,000", Thousands(1000))
	assert.Equal(t, "36,000,000", Thousands(36000000))
	assert.Equal(t, "1 warning", Count(1, "warning"))
	assert.Equal(t, "0 warnings", Count(0, "warning"))
}

// A unit is never full: no "60 s", no "24 h" beside days.
func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		0: "0 ms", 12 * time.Millisecond: "12 ms", 999 * time.Millisecond: "999 ms", 999900 * time.Microsecond: "1.0 s", 1449 * time.Millisecond: "1.4 s",
		9949 * time.Millisecond: "9.9 s", 9951 * time.Millisecond: "10 s", 59400 * time.Millisecond: "59 s", 59600 * time.Millisecond: "1 min", -130 * time.Second: "2 min 10 s",
		time.Hour - time.Second: "1 h", time.Hour + 5*time.Minute: "1 h 5 min", 24 * time.Hour: "24 h", 47*time.Hour + 29*time.Minute: "47 h 29 min",
		48*time.Hour - time.Second: "2 days", 561 * time.Hour: "23 days 9 h",
	} {
		assert.Equal(t, want, Span(d), d)
	}
}
