package scenario

import (
	"bytes"
	"fmt"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/board/ds3231"
)

const sweepPockets = 5

// settleTime is how long after the power is back a cut serving must be finished: start-up, reading the history, one turn.
const settleTime = 8 * time.Second

// MealSweep cuts a meal of five pockets, from the minute before it to its last write. Afterwards the wheel must have
// turned five pockets, one more or less, or none where the serving had not begun and the outage was longer than
// late; the table must be whole, and the next serving armed.
func MealSweep(p *profile.Profile, firmware *avr.Image) (*Sweep, error) {
	encoded := FivePockets(p)
	b, err := sweepBoard(p, firmware, encoded)
	if err != nil {
		return nil, err
	}
	b.RunUntil(sweepStart.Add(time.Minute - 20*time.Millisecond))
	s := &Sweep{Name: "meal", base: b, start: b.MCU().Cycle()}
	before := b.Pockets()
	s.check = func(b *board.Board, c Cut) string { return checkMeal(b, c, before, encoded) }
	rest := uint64(0)
	return s, s.count(func(b *board.Board) bool {
		if b.Pockets()-before < sweepPockets || b.BoostOn() {
			return false
		}
		rest++
		return rest > 10 // the last writes
	})
}

func checkMeal(b *board.Board, c Cut, before int64, encoded []byte) string {
	b.Run(settleTime)
	n := b.Pockets() - before
	late := c.Off > table.DefaultLate*time.Minute
	if n != 0 || !late {
		if n < sweepPockets-1 || n > sweepPockets+1 {
			return fmt.Sprintf("%d pockets fell, not %d", n, sweepPockets)
		}
	}
	if b.BoostOn() {
		return "the servo still has power"
	}
	if why := checkBank(b, encoded); why != "" {
		return why
	}
	m, _ := table.MapFor(len(b.MCU().EEPROM()))
	j, ok := table.NewestJournal(b.MCU().EEPROM(), m)
	switch {
	case !ok:
		return "the journal holds no whole record"
	case j.Cursor != table.MinuteOf(sweepStart.Add(time.Minute).Unix()):
		return fmt.Sprintf("the journal is settled up to %s", j.Cursor.Time().Format(stampLayout))
	case !j.Done():
		return "the journal says that pockets are left"
	}
	return checkArmed(b, sweepStart.Add(24*time.Hour+time.Minute))
}

// checkBank wants exactly these bytes, committed, in one of the banks.
func checkBank(b *board.Board, tables ...[]byte) string {
	e := b.MCU().EEPROM()
	m, _ := table.MapFor(len(e))
	for bank := range table.BankCount {
		if e[m.Bank(bank)] != table.Committed {
			continue
		}
		for _, t := range tables {
			if bytes.Equal(e[m.TableOffset(bank):][:len(t)], t) {
				return ""
			}
		}
	}
	return "no bank holds a whole table"
}

// checkArmed wants alarm 1 at the next serving.
func checkArmed(b *board.Board, next time.Time) string {
	r := func(at uint8) uint8 { return b.Clock().Register(b.Nanos(), at) }
	bcd := func(n int) uint8 { return uint8(n/10<<4 | n%10) }
	got := [...]uint8{r(ds3231.A1Seconds), r(ds3231.A1Minutes), r(ds3231.A1Hours), r(ds3231.A1Day)}
	want := [...]uint8{0, bcd(next.Minute()), bcd(next.Hour()), bcd(next.Day())}
	if got != want {
		return fmt.Sprintf("alarm 1 is %02X, not %02X", got, want)
	}
	return ""
}
