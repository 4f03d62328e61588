package flasher_test

import (
	"os"
	"testing"

	"mealtab/flasher/flashertest"
)

func TestMain(m *testing.M) {
	code := m.Run()
	flashertest.CleanUp()
	os.Exit(code)
}
