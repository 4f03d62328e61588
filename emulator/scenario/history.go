package scenario

import (
	"slices"
	"strings"

	"mealtab/compiler/table"
	"mealtab/emulator/board"
)

// Past is one record of the feeder's history.
type Past struct {
	At       table.Minute
	Event    string // "served", "missed", "clock lost" …
	Value    int
	Sequence uint8
}

// History reads a board's history where the firmware put it: in the clock module's memory if that answers, else in the
// AVR's EEPROM; oldest first.
func History(b *board.Board) []Past {
	m, _ := table.MapFor(len(b.MCU().EEPROM()))
	list := pastOf(b.Memory(), table.ClockHistorySlots)
	if list == nil {
		list = pastOf(b.MCU().EEPROM()[m.History():], m.HistorySlots)
	}
	return list
}

// pastOf reads a ring: the oldest record is the one after the break in the sequence numbers.
func pastOf(ring []byte, slots int) []Past {
	records := make([]table.History, slots)
	valid := make([]bool, slots)
	for i := range records {
		records[i], valid[i] = table.DecodeHistory(ring[i*table.HistorySize : (i+1)*table.HistorySize])
	}
	first := 0
	for i := range records {
		next := (i + 1) % slots
		if valid[i] && (!valid[next] || records[next].Sequence != records[i].Sequence+1) {
			first = next
			break
		}
	}
	var list []Past
	for n := range slots {
		i := (first + n) % slots
		if valid[i] {
			list = append(list, Past{records[i].At, eventName(records[i].Event), int(records[i].Value), records[i].Sequence})
		}
	}
	return list
}

func eventName(code int) string {
	for _, f := range table.Events() {
		if f.Value == code {
			return lower(f.Name)
		}
	}
	return "unknown"
}

func lower(name string) string { return strings.ToLower(strings.ReplaceAll(name, "_", " ")) }

// faultNames are the faults as scripts call them, bit 0 first.
func faultNames() []string {
	var names []string
	for _, f := range table.FaultBits() {
		names = append(names, lower(f.Name))
	}
	return names
}

func faultsOf(bits int) []string {
	var list []string
	for i, name := range faultNames() {
		if bits>>i&1 != 0 {
			list = append(list, name)
		}
	}
	return list
}

func knownEvent(name string) bool {
	return slices.ContainsFunc(table.Events(), func(f table.Field) bool { return lower(f.Name) == name })
}
