package words

import (
	"testing"

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
