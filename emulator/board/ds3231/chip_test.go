package ds3231

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Sources of the expected values: DS3231 data sheet 19-5170 Rev 10, page as cited, unless said otherwise.

const s = uint64(second)

// rig is a chip on a bench: a bus, and a time that only goes forwards.
type rig struct {
	c   Chip
	now uint64
}

func newRig() *rig { return &rig{c: New(0, 1)} }

func (r *rig) wait(d time.Duration) { r.now += uint64(d) }

func (r *rig) write(at uint8, v ...uint8) {
	r.c.Start(r.now, false)
	r.c.Write(r.now, at)
	for _, b := range v {
		r.c.Write(r.now, b)
	}
	r.c.Stop()
}

func (r *rig) read(at uint8, n int) []uint8 {
	r.write(at)
	r.c.Start(r.now, true)
	out := make([]uint8, n)
	for i := range out {
		out[i] = r.c.Read(r.now)
	}
	r.c.Stop()
	return out
}

func want(t *testing.T, what string, got, want any) {
	t.Helper()
	if g, w := fmt.Sprintf("%02X", got), fmt.Sprintf("%02X", want); g != w {
		t.Errorf("%s: %s, want %s", what, g, w)
	}
}

// TestFirstPower: control 1C, status with OSF and EN32kHz [p.13, 14]; time 01/01/00, day 1, 00:00:00 [DS3231M data sheet].
func TestFirstPower(t *testing.T) {
	r := newRig()
	want(t, "time", r.read(0, 7), []uint8{0, 0, 0, 1, 1, 1, 0})
	want(t, "control", r.read(Control, 1), []uint8{0x1C})
	want(t, "status without BSY", []uint8{r.read(Status, 1)[0] &^ BSY}, []uint8{0x88})
	want(t, "ageing", r.read(Ageing, 1), []uint8{0})
}

// TestWritableBits: bits that do not exist read 0 [p.11, figure 1].
func TestWritableBits(t *testing.T) {
	r := newRig()
	r.write(0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF)
	want(t, "time", r.read(0, 7), []uint8{0x7F, 0x7F, 0x7F, 0x07, 0x3F, 0x9F, 0xFF})
	r.write(TempMSB, 0x55, 0x55)
	want(t, "temperature cannot be written", r.read(TempMSB, 2), []uint8{25, 0})
}

// TestPointerWraps: after 12h comes 00h, with the time copied anew [p.11].
func TestPointerWraps(t *testing.T) {
	r := newRig()
	r.write(0, 0x30)
	got := r.read(TempLSB, 2)
	want(t, "12h and 00h", got, []uint8{0x00, 0x30})
}

// TestBurstIsConsistent: the time is copied at START [p.11].
func TestBurstIsConsistent(t *testing.T) {
	r := newRig()
	r.write(0, 0x59, 0x59, 0x23, 0x07, 0x31, 0x12, 0x27)
	r.write(0)
	r.c.Start(r.now, true)
	first := r.c.Read(r.now)
	r.wait(time.Second)
	got := []uint8{first}
	for range 6 {
		got = append(got, r.c.Read(r.now))
	}
	want(t, "burst over midnight", got, []uint8{0x59, 0x59, 0x23, 0x07, 0x31, 0x12, 0x27})
	want(t, "after it", r.read(0, 7), []uint8{0, 0, 0, 1, 1, 1, 0x28})
}

// TestSecondsResetTheChain: the next second comes one second after the acknowledge of the seconds [p.12].
func TestSecondsResetTheChain(t *testing.T) {
	r := newRig()
	r.wait(700 * time.Millisecond)
	r.write(0, 0x10)
	r.wait(999 * time.Millisecond)
	want(t, "before", r.read(0, 1), []uint8{0x10})
	r.wait(time.Millisecond)
	want(t, "after", r.read(0, 1), []uint8{0x11})
}

// TestCalendar compares every midnight of the chip's century, and its leap years, with Go's time package.
func TestCalendar(t *testing.T) {
	r := newRig()
	at := time.Date(2000, 1, 1, 23, 59, 59, 0, time.UTC)
	r.c.Set(0, 0, 1, 1, 6, 86399)
	for at.Year() < 2100 {
		y, m, d := at.Date()
		weekday := (int(at.Weekday())+6)%7 + 1
		want(t, at.String(), r.read(0, 7), []uint8{0x59, 0x59, 0x23, uint8(weekday), toBCD(uint8(d)), toBCD(uint8(m)), toBCD(uint8(y - 2000))})
		if t.Failed() {
			return
		}
		at = at.AddDate(0, 0, 1)
		r.wait(24 * time.Hour)
	}
	want(t, "century bit toggles from 99 to 00 [p.12]", r.read(Month, 2), []uint8{0x81, 0x00})
}

// TestTwelveHours: bit 6 chooses the format, bit 5 is PM [p.11]. 12 AM is midnight, 12 PM noon.
func TestTwelveHours(t *testing.T) {
	for _, c := range []struct{ before, after uint8 }{
		{0x71, 0x52}, // 11 PM -> 12 AM
		{0x51, 0x72}, // 11 AM -> 12 PM
		{0x72, 0x61}, // 12 PM -> 1 PM
		{0x52, 0x41}, // 12 AM -> 1 AM
		{0x49, 0x50}, // 9 AM -> 10 AM
	} {
		r := newRig()
		r.write(0, 0x59, 0x59, c.before)
		r.wait(time.Second)
		want(t, fmt.Sprintf("after %02X", c.before), r.read(Hours, 1), []uint8{c.after})
	}
}

// alarmCase: the time, the alarm registers, and in how many seconds the flag is due.
type alarmCase struct {
	name  string
	at    time.Time
	alarm []uint8
	in    uint64
}

func moment0(text string) time.Time {
	t, err := time.Parse("2006-01-02 15:04:05", text)
	if err != nil {
		panic(err)
	}
	return t
}

// TestAlarm1: all legal masks [p.12, table 2].
func TestAlarm1(t *testing.T) {
	at := moment0("2027-05-30 10:20:30") // a Sunday, day 7
	for _, c := range []alarmCase{
		{"every second", at, []uint8{0x80, 0x80, 0x80, 0x80}, 1},
		{"seconds", at, []uint8{0x15, 0x80, 0x80, 0x80}, 45},
		{"seconds, now", at, []uint8{0x30, 0x80, 0x80, 0x80}, 60},
		{"minutes and seconds", at, []uint8{0x00, 0x21, 0x80, 0x80}, 30},
		{"daily", at, []uint8{0x00, 0x00, 0x07, 0x80}, 74370},
		{"date", at, []uint8{0x00, 0x00, 0x07, 0x31}, 74370},
		{"date in a month that has it", at, []uint8{0x30, 0x20, 0x10, 0x30}, 31 * 86400},
		{"the 31st skips June", moment0("2027-06-01 00:00:00"), []uint8{0, 0, 0, 0x31}, 60 * 86400},
		{"29 February", moment0("2027-02-28 12:00:00"), []uint8{0, 0, 0, 0x29}, 28*86400 + 43200},
		{"weekday", at, []uint8{0x00, 0x00, 0x07, 0x40 | 1}, 74370},
		{"weekday, a week", at, []uint8{0x30, 0x20, 0x10, 0x40 | 7}, 7 * 86400},
	} {
		r := newRig()
		set(r, c.at)
		r.write(A1Seconds, c.alarm...)
		r.write(Status, 0)
		due(t, r, "alarm 1, "+c.name, A1F, A1IE, c.in)
	}
}

// TestAlarm2: all legal masks; it matches at second 00 [p.12, table 2].
func TestAlarm2(t *testing.T) {
	at := moment0("2027-05-30 10:20:30")
	for _, c := range []alarmCase{
		{"every minute", at, []uint8{0x80, 0x80, 0x80}, 30},
		{"minutes", at, []uint8{0x25, 0x80, 0x80}, 270},
		{"daily", at, []uint8{0x00, 0x07, 0x80}, 74370},
		{"date", at, []uint8{0x00, 0x07, 0x31}, 74370},
		{"weekday", at, []uint8{0x00, 0x07, 0x40 | 1}, 74370},
	} {
		r := newRig()
		set(r, c.at)
		r.write(A2Minutes, c.alarm...)
		r.write(Status, 0)
		due(t, r, "alarm 2, "+c.name, A2F, A2IE, c.in)
	}
}

func set(r *rig, at time.Time) {
	y, m, d := at.Date()
	r.c.Set(r.now, uint8(y-2000), uint8(m), uint8(d), uint8(at.Weekday()+6)%7+1, uint32(at.Hour()*3600+at.Minute()*60+at.Second()))
}

// due wants the flag at exactly that second, whatever the enables; INT falls with it, and stays until the flag is cleared.
func due(t *testing.T, r *rig, what string, flag, enable uint8, in uint64) {
	t.Helper()
	r.write(Control, INTCN|enable)
	want(t, what+": next change", r.c.Next(r.now), r.now+in*s)
	r.now += in*s - 1
	if r.read(Status, 1)[0]&flag != 0 || r.c.Low(r.now) {
		t.Errorf("%s: matched before its time", what)
	}
	r.now++
	if r.read(Status, 1)[0]&flag == 0 || !r.c.Low(r.now) {
		t.Errorf("%s: not matched at its time", what)
	}
	r.now += 100 * s
	if !r.c.Low(r.now) {
		t.Errorf("%s: INT did not stay low", what)
	}
}

// TestFlagsOnlyClear: writing 1 leaves a flag unchanged, 0 clears it [p.14]; INT rises when no enabled flag is left.
func TestFlagsOnlyClear(t *testing.T) {
	r := newRig()
	r.write(A1Seconds, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80)
	r.write(Control, INTCN|A1IE|A2IE)
	r.write(Status, 0x03)
	want(t, "ones do not set", []uint8{r.read(Status, 1)[0] & 3}, []uint8{0})
	r.wait(time.Minute)
	r.write(Control, INTCN|A1IE|A2IE)
	want(t, "both flags", []uint8{r.read(Status, 1)[0] & 3}, []uint8{3})
	r.write(A1Seconds, 0x00, 0x00, 0x00, 0x15)
	r.write(Status, A2F)
	want(t, "A1F cleared, A2F left", []uint8{r.read(Status, 1)[0] & 3}, []uint8{A2F})
	if !r.c.Low(r.now) {
		t.Error("INT rose with A2F still set")
	}
	r.write(Status, 0)
	if r.c.Low(r.now) {
		t.Error("INT is low without a flag")
	}
}

// TestEqualTimeDoesNotMatch: the match is tested when the registers are updated [DS3232M data sheet p.14].
func TestEqualTimeDoesNotMatch(t *testing.T) {
	r := newRig()
	r.write(A1Seconds, 0x00, 0x00, 0x07, 0x80)
	r.write(Status, 0)
	r.write(0, 0x00, 0x00, 0x07)
	if r.read(Status, 1)[0]&A1F != 0 {
		t.Error("matched a time that was written")
	}
}

// TestHourFormats: an alarm in the other format does not match [from memory].
func TestHourFormats(t *testing.T) {
	r := newRig()
	r.write(0, 0x59, 0x59, 0x06)
	r.write(A1Seconds, 0x00, 0x00, 0x47, 0x80)
	r.write(Status, 0)
	r.wait(48 * time.Hour)
	if r.read(Status, 1)[0]&A1F != 0 {
		t.Error("a 12-hour alarm matched a 24-hour time")
	}
}

// TestIllegalMasks: any other combination is "illogical operation" [p.12]: never due, and counted.
func TestIllegalMasks(t *testing.T) {
	legal := 0
	for masks := range uint8(16) {
		r := newRig()
		r.write(Control, INTCN|A1IE)
		r.write(A1Seconds, masks&1<<7, masks>>1&1<<7, masks>>2&1<<7, masks>>3&1<<7|1)
		if r.c.IllegalMasks() == 0 {
			legal++
		} else if r.c.Next(r.now) != never {
			t.Errorf("masks %04b: due", masks)
		}
	}
	if legal != 5 {
		t.Errorf("%d of 16 masks of alarm 1 are legal, want 5", legal)
	}
}

// TestOSF: set at first power; by a stop of the oscillator of 100 ms or more, not by a shorter one; cleared by 0 only
// [p.4, 14].
func TestOSF(t *testing.T) {
	r := newRig()
	r.write(Status, OSF)
	want(t, "writing 1", []uint8{r.read(Status, 1)[0] & OSF}, []uint8{OSF})
	r.write(Status, 0)
	r.wait(time.Hour)
	want(t, "cleared", []uint8{r.read(Status, 1)[0] & OSF}, []uint8{0})
	for _, c := range []struct {
		stop time.Duration
		osf  uint8
	}{{99 * time.Millisecond, 0}, {100 * time.Millisecond, OSF}} {
		r.write(Status, 0)
		r.c.SetDead(r.now, true)
		r.wait(c.stop)
		r.c.SetDead(r.now, false)
		want(t, c.stop.String(), []uint8{r.read(Status, 1)[0] & OSF}, []uint8{c.osf})
	}
}

// TestBackup: on the cell the time goes on; without cell and supply everything is lost; EOSC stops the oscillator on
// battery only [p.13].
func TestBackup(t *testing.T) {
	r := newRig()
	set(r, moment0("2027-05-30 10:20:30"))
	r.c.SetPower(r.now, false)
	r.wait(time.Hour)
	r.c.SetPower(r.now, true)
	want(t, "an hour on the cell", r.read(0, 3), []uint8{0x30, 0x20, 0x11})

	r.write(Control, EOSC|INTCN)
	r.wait(time.Hour)
	want(t, "EOSC with supply", r.read(Hours, 1), []uint8{0x12})
	r.c.SetPower(r.now, false)
	r.wait(time.Hour)
	r.c.SetPower(r.now, true)
	want(t, "EOSC on the cell", r.read(Hours, 1), []uint8{0x12})
	want(t, "and OSF", []uint8{r.read(Status, 1)[0] & OSF}, []uint8{OSF})

	r.c.SetCell(r.now, false)
	r.c.SetPower(r.now, false)
	r.wait(time.Second)
	r.c.SetPower(r.now, true)
	want(t, "nothing left", r.read(0, 7), []uint8{0, 0, 0, 1, 1, 1, 0})
	want(t, "control", r.read(Control, 1), []uint8{0x1C})
}

// TestIntOnBattery: high-impedance unless BBSQW [p.13].
func TestIntOnBattery(t *testing.T) {
	for _, bbsqw := range []uint8{0, BBSQW} {
		r := newRig()
		r.write(A1Seconds, 0x80, 0x80, 0x80, 0x80)
		r.write(Status, 0)
		r.write(Control, INTCN|A1IE|bbsqw)
		r.c.SetPower(r.now, false)
		r.wait(2 * time.Second)
		r.c.Sync(r.now)
		if r.c.Low(r.now) != (bbsqw != 0) {
			t.Errorf("BBSQW %02X: INT low is %v on battery", bbsqw, r.c.Low(r.now))
		}
	}
}

// TestSquareWave: 1 Hz goes high 500 ms after the chain was reset [p.12]; with INTCN 0 alarms do not drive the pin.
func TestSquareWave(t *testing.T) {
	r := newRig()
	r.write(Control, A1IE)
	r.write(0, 0)
	for i, high := range []bool{false, true, false, true} {
		r.c.Sync(r.now + 1)
		if r.c.Low(r.now+1) == high {
			t.Errorf("half second %d: high is %v", i, !high)
		}
		want(t, "next edge", r.c.Next(r.now+1), r.now+s/2)
		r.now += s / 2
	}
}

// TestTemperature: +25.25 °C reads 19 40 [DS3231M data sheet]; a conversion every 64 s, or by CONV, takes 125 ms [p.4, 13].
func TestTemperature(t *testing.T) {
	r := newRig()
	r.wait(time.Second)
	r.c.SetTemperature(r.now, 101)
	want(t, "before", r.read(TempMSB, 2), []uint8{25, 0})
	r.write(Control, INTCN|CONV)
	r.wait(100 * time.Millisecond)
	want(t, "CONV while it runs", r.read(Control, 1), []uint8{INTCN | CONV})
	want(t, "BSY", []uint8{r.read(Status, 1)[0] & BSY}, []uint8{BSY})
	r.wait(30 * time.Millisecond)
	want(t, "after", r.read(TempMSB, 2), []uint8{0x19, 0x40})
	want(t, "CONV", r.read(Control, 1), []uint8{INTCN})

	r.c.SetTemperature(r.now, -10*4)
	r.wait(62 * time.Second)
	want(t, "before 64 s", r.read(TempMSB, 2), []uint8{0x19, 0x40})
	r.wait(2 * time.Second)
	want(t, "after 64 s", r.read(TempMSB, 2), []uint8{0xF6, 0})
}

// TestAgeing: positive is slower, 0.1 ppm a step at 25 °C, from the next conversion on [p.3].
func TestAgeing(t *testing.T) {
	r := newRig()
	r.write(Ageing, 100) // 10 ppm
	r.wait(65 * time.Second)
	r.write(0, 0, 0, 0)
	r.now += 100_000 * s
	before := r.read(0, 3)
	r.now += s
	want(t, "a second slow after 100,000", before, []uint8{0x39, 0x46, 0x03}) // 27:46:39 is 03:46:39 of the next day
	want(t, "and a second later", r.read(0, 3), []uint8{0x40, 0x46, 0x03})
}

// TestDrift: a crystal that is 20 ppm fast gains 1.728 s a day.
func TestDrift(t *testing.T) {
	r := newRig()
	r.c.SetDrift(0, 20_000)
	r.write(0, 0, 0, 0)
	r.wait(24 * time.Hour)
	want(t, "a day", r.read(0, 3), []uint8{1, 0, 0})
}

// TestJumpsEqualSteps: it makes no difference how often someone looks.
func TestJumpsEqualSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := newRig()
		set(r, time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.Uint64Range(0, 36524*86400).Draw(t, "start"))*time.Second))
		r.c.SetDrift(0, rapid.Int64Range(-100_000, 100_000).Draw(t, "drift"))
		r.write(Control, uint8(rapid.IntRange(0, 7).Draw(t, "control"))|INTCN)
		r.write(A1Seconds, 0, 0x30, 0x80, 0x80)
		r.write(Ageing, rapid.Uint8().Draw(t, "ageing"))
		jump := r.c
		end := rapid.Uint64Range(0, 400_000).Draw(t, "seconds") * s
		for now := uint64(0); now < end; {
			now = min(end, now+rapid.Uint64Range(1, 100_000).Draw(t, "step")*s/7)
			r.c.Sync(now)
		}
		jump.Sync(end)
		if r.c != jump {
			t.Fatalf("steps:\n%+v\njump:\n%+v", r.c, jump)
		}
	})
}

// TestNextIsExact: between now and Next the pin does not move; at Next it does, or the chip's rate changes.
func TestNextIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := newRig()
		set(r, time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.Uint64Range(0, 400*86400).Draw(t, "start"))*time.Second))
		masks := rapid.SampledFrom([]uint8{15, 14, 12, 8, 0}).Draw(t, "masks")
		day := rapid.SampledFrom([]uint8{0x15, 0x31, 0x41, 0x47}).Draw(t, "day")
		r.write(A1Seconds, masks&1<<7|0x20, masks>>1&1<<7|0x30, masks>>2&1<<7|0x12, masks>>3&1<<7|day)
		r.write(Status, 0)
		r.write(Control, INTCN|A1IE)
		at := r.c.Next(r.now)
		if at == never {
			t.Fatal("a legal alarm never comes")
		}
		before := rapid.Uint64Range(0, at-1).Draw(t, "before")
		c := r.c
		c.Sync(before)
		if c.Low(before) {
			t.Fatalf("low at %d, before %d", before, at)
		}
		if r.c.Sync(at); !r.c.Low(at) {
			t.Fatalf("not low at %d", at)
		}
	})
}
