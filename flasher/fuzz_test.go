package flasher_test

import (
	"testing"
	"time"

	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// Whatever a device answers in good frames, nothing here panics, goes on for ever, or takes a table from it that is none; the answer to each request is the next
// piece of the input: its status, its length, its octets.
func FuzzDeviceAnswers(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte{0, 26, 0, 0, 0xFF, 0, 0, 0, 0, 0, 0xFF, 0xFF, 0xFF, 3})
	f.Add(append([]byte{0, 98, 5, 0}, make([]byte, 96)...))
	f.Add([]byte{0, 98, 0xFE, 1, 1, 2, 3, 4, 5, 6, 7, 8})
	f.Add([]byte{6, 0, 0, 5, 1, 2, 3, 4, 1})
	tab := flashertest.Table(f, "m328-mains", []uint16{420}, 0)
	f.Fuzz(func(t *testing.T, in []byte) {
		a := &flashertest.Answering{Octets: flashertest.Messages(func(code byte, _ []byte) (byte, []byte) {
			if code == frame.Identify {
				return frame.OK, identity(frame.Version, table.Version, 1, 1, 1024, 416)
			}
			if len(in) < 2 {
				return frame.OK, nil
			}
			status, n := in[0]%12, min(int(in[1]), frame.MaxContent-3, len(in)-2)
			payload := in[2 : 2+n]
			in = in[2+n:]
			return status, payload
		})}
		f, err := flasher.Connect(link.New(a, "port", 57600))
		if err != nil {
			t.Fatal(err)
		}
		began := a.Now()
		st, _ := f.Status()
		if held, err := f.Table(st); err == nil {
			if _, err := table.Length(held); err != nil || len(held) > f.Map.TableRoom() {
				t.Fatalf("took % X for a table", held)
			}
		}
		list, _ := f.History(0)
		if len(list) > f.ID.HistorySlots {
			t.Fatalf("%d records of %d", len(list), f.ID.HistorySlots)
		}
		_, _ = f.Next(0, 31*table.MinutesPerDay, 5)
		_, _ = f.Journal()
		_, _ = f.Records()
		_, _ = f.ReadClock()
		_, _ = f.Serve(st, 0)
		_, _, _ = f.Hopper(frame.HopperRead)
		_ = f.Upload(tab, st, nil)
		if took := a.Now().Sub(began); took > 10*time.Minute {
			t.Fatalf("went on for %v", took)
		}
	})
}
