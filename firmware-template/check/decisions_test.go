package check

import (
	"encoding/binary"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
	"mealtab/flasher/frame"
)

// request sends a request until it is answered, and returns payload and status of the answer.
func (f *feeder) request(code byte, payload ...byte) ([]byte, int) {
	f.t.Helper()
	f.sequence++
	for range 8 { // a knock may meet a flash
		f.answers.last = nil
		knock(f.Board, 50*time.Millisecond)
		f.Send(frame.Append(nil, append([]byte{code, f.sequence}, payload...)))
		f.Run(700 * time.Millisecond)
		if a := f.answers.last; len(a) > 2 && a[0] == code|frame.Answer && a[1] == f.sequence {
			return frame.Response(a)
		}
	}
	f.t.Fatalf("no answer to request %d", code)
	return nil, 0
}

// status is a number in the answer to STATUS.
func (f *feeder) status(name string) int {
	f.t.Helper()
	payload, status := f.request(frame.Status)
	require.Equal(f.t, frame.OK, status)
	return int(frame.MessageNamed("STATUS").Number(payload, name))
}

func (f *feeder) serve(units int) (pockets, status int) {
	f.t.Helper()
	token := byte(f.status("TOKEN") + 1)
	payload, status := f.request(frame.Serve, token, byte(units), byte(units>>8), byte(units>>16))
	if status == frame.OK {
		pockets = int(binary.LittleEndian.Uint16(payload))
	}
	f.Run(10 * time.Second)
	return pockets, status
}

func (f *feeder) setClock(at time.Time) {
	f.t.Helper()
	_, status := f.request(frame.ClockSet, binary.LittleEndian.AppendUint32(nil, uint32(at.Unix()-table.Epoch))...)
	require.Equal(f.t, frame.OK, status)
}

// cut cuts the power for a while.
func (f *feeder) cut(off time.Duration) {
	f.PowerOff()
	f.Run(off)
	f.PowerOn()
}

// However often the supply fails in the middle of a serving, the wheel turns at most one pocket too many, and the light says that it may
// have left some out.
func TestRepeatedCutsInAServing(t *testing.T) {
	for _, name := range []string{"m328-mains", "m328-index", "m168-mains"} {
		for _, pockets := range []int{1, 4, 5, 8, 15} {
			for _, after := range []time.Duration{280 * time.Millisecond, 500 * time.Millisecond, 550 * time.Millisecond, 900 * time.Millisecond} {
				t.Run(fmt.Sprintf("%s %d pockets %v", name, pockets, after), func(t *testing.T) {
					t.Parallel()
					f := newFeeder(t, name, pockets, nil)
					cuts := 0
					start := f.Now()
					for f.Now().Sub(start) < 50*time.Minute {
						if f.BoostOn() {
							f.Run(after)
							f.cut(2 * time.Second)
							cuts++
						}
						f.Run(20 * time.Millisecond)
					}
					assert.LessOrEqual(t, f.Pockets(), int64(pockets+1), "after %d cuts", cuts)
					if f.Pockets() < int64(pockets-1) || cuts > 2 {
						assert.NotZero(t, f.status("FAULTS")&table.FaultBitPower)
					}
					assert.Less(t, cuts, 30)
				})
			}
		}
	}
}

// One cut leaves out, or adds, one pocket at most, wherever it falls; the rest comes when the power is back, however late.
func TestOneCutInAServing(t *testing.T) {
	for _, off := range []time.Duration{time.Second, 5 * time.Hour} {
		for at := 400 * time.Millisecond; at < 2*time.Second; at += 90 * time.Millisecond { // its record is written by then
			f := newFeeder(t, "m328-mains", 4, nil)
			f.RunUntil(boardStart.Add(10 * time.Minute))
			f.Run(at)
			f.cut(off)
			f.Run(20 * time.Second)
			before := f.Pockets()
			if off > time.Hour {
				before -= 4 // the newest of those missed meanwhile
			}
			require.InDelta(t, 4, before, 1, "cut %v after the minute, %v long", at, off)
		}
	}
}

// Faults that were seen stay shown through resets until somebody acknowledges them, by a press or over the line.
func TestFaultsStayThroughResets(t *testing.T) {
	for _, over := range []string{"line", "button"} {
		t.Run(over, func(t *testing.T) {
			f := newFeeder(t, "m328-index", 3, nil)
			f.Jam(0.3, false)
			f.Run(8 * time.Minute)
			require.NotZero(t, f.status("FAULTS")&table.FaultBitJam)
			f.Reset()
			f.Run(time.Minute)
			require.NotZero(t, f.status("FAULTS")&table.FaultBitJam)
			f.cut(time.Minute)
			f.Run(time.Minute)
			require.NotZero(t, f.status("FAULTS")&table.FaultBitJam)
			f.Unjam()
			if over == "line" {
				payload, status := f.request(frame.FaultsClear, 0xFF, 0xFF)
				require.Equal(t, frame.OK, status)
				require.Zero(t, binary.LittleEndian.Uint16(payload))
			} else {
				f.Press(1, 100*time.Millisecond) // portions
			}
			f.Run(time.Minute)
			require.Zero(t, f.status("FAULTS"))
			require.InDelta(t, 3, f.Pockets(), 1, "what waited is given at once")
			f.cut(time.Minute)
			f.Run(time.Minute)
			require.Zero(t, f.status("FAULTS"))
		})
	}
}

// A jam that stays: the wheel pushes for less than a minute a day, each cell of the EEPROM lasts ten years, and the line answers.
func TestJamLeftInPlace(t *testing.T) {
	f := newFeeder(t, "m328-index", 3, nil)
	f.Jam(0.3, false)
	f.Run(time.Hour)
	on, writes := time.Duration(0), map[int]int{}
	last := append([]byte(nil), f.MCU().EEPROM()...)
	for range 24 * 3600 * 20 {
		f.Run(50 * time.Millisecond)
		if f.BoostOn() {
			on += 50 * time.Millisecond
		}
		for i, b := range f.MCU().EEPROM() {
			if b != last[i] {
				last[i] = b
				writes[i]++
			}
		}
	}
	most := 0
	for _, n := range writes {
		most = max(most, n)
	}
	t.Logf("the servo is on for %v a day, the busiest cell changes %d times", on, most)
	require.Less(t, on, 90*time.Second) // with what stands still before and after each push
	require.LessOrEqual(t, most, 100_000/3650)
	require.NotZero(t, f.status("FAULTS")&table.FaultBitMissed)
}

// The limits of the hour and the day hold through resets.
func TestPressLimitsThroughResets(t *testing.T) {
	for _, name := range []string{"m328-mains", "m168-mains"} {
		f := newFeeder(t, name, 3, func(c *board.Config) {})
		f.RunUntil(boardStart.Add(12 * time.Minute))
		before := f.Pockets()
		for i := range 60 {
			f.Press(0, 100*time.Millisecond)
			f.Run(8 * time.Second)
			if i%2 == 0 {
				f.Reset()
			} else {
				f.cut(time.Second)
			}
			f.Run(2 * time.Second)
		}
		require.EqualValues(t, table.DefaultPerHour, f.Pockets()-before, name)
		// A press every 20 minutes, all day: no more than the day's limit, and at most so many again after it.
		before, served := f.Pockets(), 0
		for range 3 * 24 {
			was := f.Pockets()
			f.Press(0, 100*time.Millisecond)
			f.Run(10 * time.Second)
			served += int(f.Pockets() - was)
			f.Reset()
			f.Run(20*time.Minute - 10*time.Second)
		}
		_ = before
		require.LessOrEqual(t, served, table.DefaultPerDay, name)
	}
}

// SERVE is a press: 20 pockets in one request, 40 in a day.
func TestServeLimits(t *testing.T) {
	f := newFeeder(t, "m328-mains", 3, nil)
	unit := int(slowTable().Wheel.PocketUnits)
	_, status := f.serve(1000 * unit)
	require.Equal(t, frame.Refused, status)
	_, status = f.serve(21 * unit)
	require.Equal(t, frame.Refused, status)
	for _, want := range []int{20, 20} {
		pockets, status := f.serve(want * unit)
		require.Equal(t, frame.OK, status)
		require.Equal(t, want, pockets)
	}
	f.Run(3 * time.Hour)
	_, status = f.serve(unit)
	require.Equal(t, frame.Refused, status, "40 pockets in the day")
	require.Equal(t, 40, f.status("ASKED"))
	require.Equal(t, table.DefaultPerDay-2, f.status("DAY_LEFT"))
	f.Run(21*time.Hour + 2*time.Minute)
	pockets, status := f.serve(unit)
	require.Equal(t, frame.OK, status)
	require.Equal(t, 1, pockets)
}

// A clock that is set back does not starve the pet; one that is set to just before a meal, again and again, feeds it once in six hours.
func TestClockSteps(t *testing.T) {
	f := newFeeder(t, "m328-mains", 3, nil)
	f.Run(10 * time.Hour) // ten servings, of one an hour
	f.setClock(f.ClockTime().Add(-9 * time.Hour))
	before := f.Pockets()
	f.Run(9 * time.Hour)
	require.GreaterOrEqual(t, f.Pockets()-before, int64(3))
	before, start := f.Pockets(), f.Now()
	for range 40 {
		now := f.ClockTime()
		f.setClock(now.Truncate(time.Hour).Add(9*time.Minute + 30*time.Second)) // a serving is due in half a minute
		f.Run(time.Minute)
	}
	require.LessOrEqual(t, f.Pockets()-before, int64(3), "in %v", f.Now().Sub(start))
	require.NotZero(t, f.status("FAULTS")&table.FaultBitMissed)
}

// After a long nap a time that is right is no reason to doubt the clock.
func TestClockSetAfterALongNap(t *testing.T) {
	f := newFeeder(t, "m328-mains", 3, func(c *board.Config) {})
	f.Run(14 * time.Minute)
	f.setClock(f.Now())
	require.Zero(t, f.status("FAULTS")&(table.FaultBitClockLost|table.FaultBitClockSilent))
}

// A bit of the table in force flips while the feeder runs: within a day the other bank's table is in force, and the fault is shown.
func TestTableDamagedWhileRunning(t *testing.T) {
	m, _ := table.MapFor(1024)
	for _, other := range []bool{true, false} {
		t.Run(fmt.Sprintf("other bank %v", other), func(t *testing.T) {
			f := newFeeder(t, "m328-mains", 3, nil)
			if other { // the same table, newer, in the spare bank
				bank := f.status("BANK")
				from := f.MCU().EEPROM()[m.TableOffset(bank):][:m.TableRoom()]
				size := int(from[0]&0xF)<<8 | int(from[1])
				next := table.WithSequence(from[:size], from[3]+1)
				for at := 0; at < size; at += frame.MaxData {
					part := next[at:min(size, at+frame.MaxData)]
					_, status := f.request(frame.BankWrite, append([]byte{byte(at), byte(at >> 8)}, part...)...)
					require.Equal(t, frame.OK, status)
				}
				_, status := f.request(frame.BankCommit, next[size-2], next[size-1], next[3])
				require.Equal(t, frame.OK, status)
				require.Equal(t, 1-bank, f.status("BANK"))
			}
			bank := f.status("BANK")
			f.MCU().EEPROM()[m.TableOffset(bank)+9] ^= 0x10
			f.Run(25 * time.Hour)
			require.NotZero(t, f.status("FAULTS")&table.FaultBitTableDamaged)
			if other {
				require.Equal(t, 1-bank, f.status("BANK"))
				before := f.Pockets()
				f.Run(5 * time.Hour)
				require.EqualValues(t, 15, f.Pockets()-before)
			} else {
				require.NotZero(t, f.status("FAULTS")&table.FaultBitNoTable)
			}
		})
	}
}

// The forecast: shown before the hopper is empty, and gone when it is said to be filled.
func TestHopperForecast(t *testing.T) {
	f := newFeeder(t, "m328-mains", 3, nil)
	require.Equal(t, 0xFFFF, f.status("HOPPER_LEFT"))
	payload, status := f.request(frame.Hopper, 20, 0)
	require.Equal(t, frame.OK, status)
	require.Equal(t, []byte{20, 0, 20, 0}, payload)
	f.Run(4 * time.Hour)
	require.Equal(t, 20-12, f.status("HOPPER_LEFT"))
	require.Zero(t, f.status("FAULTS"))
	f.Run(time.Hour) // five are left, less than two servings
	require.Equal(t, table.FaultBitRefill, f.status("FAULTS"))
	f.cut(time.Minute)
	f.Run(time.Minute)
	require.Equal(t, table.FaultBitRefill, f.status("FAULTS"))
	f.Press(1, 4*time.Second)
	f.Run(20 * time.Second)
	require.Zero(t, f.status("FAULTS"))
	require.Equal(t, 20, f.status("HOPPER_LEFT"))
	require.Equal(t, 10, f.status("ADJUST"), "a long press changes no portions")
}

// A supply that gives way under the servo: the fault is shown, the chip is not reset for ever, no cell of the EEPROM wears out in ten
// years, the line answers, and no serving has a pocket too many.
func TestWeakSupply(t *testing.T) {
	for _, c := range []struct {
		name      string
		milliOhms float64
		jam       bool
	}{{"m328-mains", 13_000, false}, {"m328-index", 2_500, true}, {"m168-mains", 13_000, false}, {"m328-mains", 40_000, false}} {
		t.Run(fmt.Sprintf("%s %v mΩ jam %v", c.name, c.milliOhms, c.jam), func(t *testing.T) {
			t.Parallel()
			f := newFeeder(t, c.name, 3, nil)
			resets := 0
			f.Observe(func(e board.Event) {
				f.answers.see(e)
				if e.Kind == board.WasReset {
					resets++
				}
			})
			f.SetSource(4900, c.milliOhms)
			if c.jam {
				f.Jam(0.5, false)
			}
			f.Run(25 * time.Minute)
			require.NotZero(t, f.status("FAULTS")&(table.FaultBitSupply|table.FaultBitPower|table.FaultBitJam))
			f.Run(24 * time.Hour)
			last, writes := append([]byte(nil), f.MCU().EEPROM()...), map[int]int{}
			for range 24 * 3600 * 4 {
				f.Run(250 * time.Millisecond)
				for i, b := range f.MCU().EEPROM() {
					if b != last[i] {
						last[i] = b
						writes[i]++
					}
				}
			}
			most := 0
			for _, n := range writes {
				most = max(most, n)
			}
			t.Logf("%d resets in two days, %d pockets, the busiest cell changes %d times a day", resets, f.Pockets(), most)
			require.Less(t, resets, 2*40)
			require.LessOrEqual(t, most, 100_000/3650)
			require.NotZero(t, f.status("FAULTS")&table.FaultBitMissed)
		})
	}
}
