package avr_test

import (
	"testing"

	"mealtab/emulator/avr"
)

func TestNapsHookAccountsForEachSleep(t *testing.T) {
	// Falling asleep is told of once per nap, or by Naps for those passed over.
	var slept, passed uint64
	m := newChip(t, napPrograms["16-bit counter, WDR, flag in GPIOR0"], func(c *avr.Config) {
		c.Fuses.StartupCycles = 16384
		c.Hooks.Sleep = func(asleep bool) {
			if asleep {
				slept++
			}
		}
		c.Hooks.Naps = func(n, period uint64) {
			if period < 256_000 || period > 280_000 {
				t.Errorf("naps of %d cycles, want 16 ms and the wake-up", period)
			}
			passed += n
		}
	})
	m.RunFor(2000 * 256_000)
	if passed < 1500 || passed != m.SkippedNaps() {
		t.Errorf("%d naps passed over, %d skipped by the core", passed, m.SkippedNaps())
	}
	if wakes := m.Stats().Wakes; slept+passed < wakes || slept+passed > wakes+1 {
		t.Errorf("told of %d + %d sleeps, woke %d times", slept, passed, wakes)
	}
}

func TestSleepHookAloneForbidsSkipping(t *testing.T) {
	var slept uint64
	m := newChip(t, napping, func(c *avr.Config) { c.Hooks.Sleep = func(bool) { slept++ } })
	m.RunFor(100 * 128_000_000)
	if m.SkippedNaps() != 0 || slept < 190 {
		t.Errorf("%d naps skipped, %d calls", m.SkippedNaps(), slept)
	}
}

func TestEEPROMWriteHook(t *testing.T) {
	type write struct {
		addr     uint16
		old, new uint8
	}
	var got []write
	var end uint64
	m := newChip(t, writeByte+"\nend:\trjmp end", func(c *avr.Config) {
		c.Hooks.EEPROMWrite = func(addr uint16, old, data uint8, at uint64) {
			got, end = append(got, write{addr, old, data}), at
		}
	})
	m.RunFor(100)
	if len(got) != 1 || got[0] != (write{5, 0xFF, 0x5A}) {
		t.Fatalf("writes %v", got)
	}
	m.Run(end - 1)
	if m.EEPROM()[5] != 0xFF {
		t.Error("complete before its end")
	}
	m.RunFor(10)
	if m.EEPROM()[5] != 0x5A || m.CellWrites()[5] != 1 {
		t.Error("not complete after its end, or not counted")
	}
}

func TestAwakeIdleAndAsleepAddUp(t *testing.T) {
	m := newChip(t, napping, func(c *avr.Config) { c.Fuses.StartupCycles = 16384 })
	m.ClearStats()
	from := m.Cycle()
	m.RunFor(20 * 128_000_000)
	s := m.Stats()
	if sum := s.Awake + s.Asleep + s.Idle; sum != m.Cycle()-from {
		t.Errorf("awake %d + asleep %d + idle %d = %d, want %d", s.Awake, s.Asleep, s.Idle, sum, m.Cycle()-from)
	}
}
