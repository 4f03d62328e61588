package flasher_test

import (
	"encoding/binary"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
	"mealtab/flasher"
	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// ring is a board's history: record n, from 0 on, stands in slot n modulo the slots, with sequence number and minute n.
type ring struct{ slots, records int }

func (r ring) record(n int) []byte {
	b := []byte{byte(n)}
	b = binary.LittleEndian.AppendUint32(b, uint32(n)|table.EventServed<<26)
	b = append(b, 1, 0)
	return append(b, byte(table.CRC(b)))
}

// slot is what a slot holds.
func (r ring) slot(i int) []byte {
	newest := r.records - 1
	n := newest - ((newest-i)%r.slots+r.slots)%r.slots
	if n < 0 {
		return make([]byte, table.HistorySize)
	}
	return r.record(n)
}

// answer is a board's to HISTORY_READ; below slot 0 lies what looks like a record.
func (r ring) answer(code byte, payload []byte) (byte, []byte) {
	if code == frame.Identify {
		id := identity(frame.Version, table.Version, 1, 1, 1024, 416)
		return frame.OK, append(binary.LittleEndian.AppendUint16(id[:len(id)-3], uint16(r.slots)), 0)
	}
	from := int(binary.LittleEndian.Uint16(payload))
	b := binary.LittleEndian.AppendUint16(nil, uint16((r.records-1)%r.slots))
	for i := from; i > from-frame.HistoryMax && from < r.slots; i-- {
		record := r.slot((i + r.slots) % r.slots)
		if _, ok := table.DecodeHistory(record); !ok {
			break
		}
		b = append(b, record...)
	}
	return frame.OK, b
}

// The host goes down the ring and around its end: every record that is left, once, newest first.
func TestHistoryGoesAroundTheRing(t *testing.T) {
	for _, slots := range []int{5, 511} {
		for _, records := range []int{1, 4, 5, 6, 12, 13, 300, 511, 512, 530, 1500} {
			a := &flashertest.Answering{Octets: flashertest.Messages(ring{slots, records}.answer)}
			f, err := flasher.Connect(link.New(a, "port", 57600))
			require.NoError(t, err)
			list, err := f.History(0)
			require.NoError(t, err)
			require.Len(t, list, min(slots, records))
			for i, h := range list {
				require.Equal(t, table.Minute(records-1-i), h.At, "record %d of %d in %d slots", i, records, slots)
			}
			recent, err := f.History(table.Minute(records - 1))
			require.NoError(t, err)
			require.Len(t, recent, 1)
		}
	}
}
