package flasher_test

import (
	"os"
	"testing"
	"time"

	"mealtab/emulator/board"
	"mealtab/flasher/flashertest"
)

func TestByHand(t *testing.T) {
	if os.Getenv("HAND") == "" {
		return
	}
	name := "m328-mains"
	if b := os.Getenv("HAND_BOARD"); b != "" {
		name = b
	}
	var tab []byte
	if f := os.Getenv("HAND_TABLE"); f != "" {
		tab, _ = os.ReadFile(f)
	}
	e := flashertest.New(t, name, tab, func(c *board.Config) { c.Start = time.Now() })
	os.WriteFile(os.Getenv("HAND"), []byte(flashertest.Terminal(t, e)), 0o644)
	time.Sleep(10 * time.Minute)
}
