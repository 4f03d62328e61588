package scenario_test

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"mealtab/emulator/avr"
	"mealtab/emulator/board"
)

// A feeder is watched for three days while anything happens to it. Within the plan's longest gap, plus the time without
// power, plus a quarter of an hour, the pet is fed, or a fault is shown.

const (
	longestGap = 9 * time.Hour // of sixMeals: 21:00 to 06:00
	margin     = 15 * time.Minute
	watch      = 3 * 24 * time.Hour
)

// fault is one kind of thing that happens, and how it ends.
type fault struct {
	name  string
	begin func(b *board.Board)
	end   func(b *board.Board)
}

func nothing(*board.Board) {}

var faults = []fault{
	{"power cut", (*board.Board).PowerOff, (*board.Board).PowerOn},
	{"flat backup cell", func(b *board.Board) { b.SetBackup(false) }, func(b *board.Board) { b.SetBackup(true) }},
	{"INT cut", func(b *board.Board) { b.CutInt(true) }, func(b *board.Board) { b.CutInt(false) }},
	{"silent clock", func(b *board.Board) { b.Silence(true) }, func(b *board.Board) { b.Silence(false) }},
	{"dead crystal", func(b *board.Board) { b.StopCrystal(true) }, func(b *board.Board) { b.StopCrystal(false) }},
	{"SDA shorted", func(b *board.Board) { b.HoldSDA(true, 0) }, func(b *board.Board) { b.HoldSDA(false, 0) }},
	{"SDA held", func(b *board.Board) { b.HoldSDA(true, 7) }, nothing},
	{"reset", (*board.Board).Reset, nothing},
	{"stuck feed button", func(b *board.Board) { b.Press(board.ButtonFeed, 0) }, func(b *board.Board) { b.Release(board.ButtonFeed) }},
	{"portion pressed", func(b *board.Board) { b.Press(board.ButtonPortion, 200*time.Millisecond) }, nothing},
	{"low supply", func(b *board.Board) { b.SetSource(4350, -1) }, func(b *board.Board) { b.SetSource(5000, -1) }},
	{"fast crystal", func(b *board.Board) { b.SetClockDrift(50_000) }, func(b *board.Board) { b.SetClockDrift(0) }},
	{"noise on the line", func(b *board.Board) { b.Send([]byte{0x7E, 0xFF, 0x00, 0x7D, 0x55, 0x7E}) }, nothing},
	{"module without memory", func(b *board.Board) { b.RemoveMemory(true) }, func(b *board.Board) { b.RemoveMemory(false) }},
	{"cold", func(b *board.Board) { b.SetTemperature(-80) }, func(b *board.Board) { b.SetTemperature(100) }},
}

// happening is a fault at its times, in minutes after the start.
type happening struct {
	fault       int
	begin, last int
}

func (h happening) String() string {
	return fmt.Sprintf("%s at %d min for %d min", faults[h.fault].name, h.begin, h.last)
}

// checks is how many random scenarios the ordinary run tries; MEALTAB_LONG=1 leaves it to -rapid.checks.
func checks() string {
	if raceEnabled {
		return "2"
	}
	return "25"
}

func TestFedOrFaultShown(t *testing.T) {
	if os.Getenv("MEALTAB_LONG") == "" {
		if err := flag.Set("rapid.checks", checks()); err != nil {
			t.Fatal(err)
		}
	}
	b, img := mains(t)
	encoded := sixMeals(t, b)
	c := board.ForProfile(b)
	c.Firmware, c.Start = img, time.Date(2027, 6, 1, 0, 0, 30, 0, time.UTC)
	base := inService(t, c, encoded)
	base.Run(10 * time.Second)
	rapid.Check(t, func(t *rapid.T) {
		list := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) happening {
			return happening{rapid.IntRange(0, len(faults)-1).Draw(t, "fault"), rapid.IntRange(0, 3000).Draw(t, "begin"), rapid.IntRange(1, 900).Draw(t, "minutes")}
		}), 1, 5).Draw(t, "faults")
		seed := rapid.Uint64().Draw(t, "seed")
		o := &owner{b: base.Fork()}
		o.b.Reseed(seed)
		if why := o.watch(list); why != "" {
			t.Fatalf("%s\nfaults %v, seed %d", why, list, seed)
		}
	})
}

// owner watches the feeder.
type owner struct {
	b     *board.Board
	fed   time.Time     // last pocket
	shown time.Time     // last flash of the light
	dark  time.Duration // without power since the last pocket
}

// watch lets the faults happen and says what is wrong, if anything.
func (o *owner) watch(list []happening) string {
	start := o.b.Now()
	o.fed = start
	o.b.Observe(func(e board.Event) {
		switch {
		case e.Kind == board.PocketFell:
			o.fed, o.dark = o.b.Time(e.At), 0
		case e.Kind == board.Light && e.Value == 1:
			o.shown = o.b.Time(e.At)
		}
	})
	for at := 0; at < int(watch/time.Minute); at++ {
		for _, h := range list {
			if h.begin == at {
				faults[h.fault].begin(o.b)
			}
			if h.begin+h.last == at {
				faults[h.fault].end(o.b)
			}
		}
		if r := o.b.RunUntil(start.Add(time.Duration(at+1) * time.Minute)); r != avr.StopLimit {
			return "the firmware stopped: " + r.String()
		}
		if !o.b.Powered() {
			o.dark += time.Minute
			continue
		}
		now := o.b.Now()
		if hungry := now.Sub(o.fed); hungry > longestGap+o.dark+margin && now.Sub(o.shown) > 2*time.Minute {
			return fmt.Sprintf("at %s the last pocket fell %v ago, %v of it without power, and no fault is shown", now.Format("02 15:04"), hungry.Round(time.Minute), o.dark)
		}
	}
	if o.b.BoostOn() {
		return "in the end the servo has power"
	}
	return ""
}

// TestOwnerSeesHunger: a firmware that does nothing starves the pet in the dark, and the check above says so.
func TestOwnerSeesHunger(t *testing.T) {
	p, _ := mains(t)
	c := board.ForProfile(p)
	c.Firmware = &avr.Image{Flash: []byte{0xFF, 0xCF}} // rjmp .-2
	b, err := board.New(c)
	if err != nil {
		t.Fatal(err)
	}
	o := &owner{b: b}
	if why := o.watch(nil); !strings.Contains(why, "no fault is shown") {
		t.Errorf("the check says %q", why)
	}
}
