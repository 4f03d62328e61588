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

// identity is an answer to IDENTIFY.
func identity(protocol, format, firmware, board byte, eeprom, bank uint16) []byte {
	b := []byte{protocol, format, firmware, 0, board}
	b = binary.LittleEndian.AppendUint16(b, eeprom)
	b = binary.LittleEndian.AppendUint16(b, bank)
	b = append(b, frame.MaxData)
	b = binary.LittleEndian.AppendUint16(b, 16000)
	return append(binary.LittleEndian.AppendUint16(b, 511), 0) // no sensors
}

// What is on the port is not the feeder that the table is for: a message that says so, and no request that writes.
func TestRefusals(t *testing.T) {
	for _, c := range []struct {
		name   string
		answer func([]byte) []byte
		board  string
		bytes  int
		want   string
	}{
		{"nothing there", func([]byte) []byte { return nil }, "m328-mains", 0,
			"port opens but nothing answers in 5 s: a feeder whose wheel turns answers when it stands again, so try once more; else it is the wrong port, has no supply or no firmware yet, or RX and TX are swapped"},
		{"a chatty device", func([]byte) []byte { return []byte("AT?\r\nERROR\r\n") }, "m328-mains", 0,
			"port answers, but not as a feeder does (41 54 3F 0D 0A 45 52 52 4F 52 0D 0A …): another device, or firmware that is not a feeder's"},
		{"RX and TX joined", func(sent []byte) []byte { return sent }, "m328-mains", 0,
			"port sends back what it is sent: RX and TX are joined, or it is another device"},
		{"newer messages", identified(identity(frame.Version+1, table.Version, 9, 1, 1024, 416)), "m328-mains", 0,
			"the board on port has version 6 of the messages, this program has version 5; a newer mealtab is needed (nothing was written)"},
		{"older messages", identified(identity(frame.Version-1, table.Version, 0, 1, 1024, 416)), "m328-mains", 0,
			"the board on port has version 4 of the messages, this program has version 5; its firmware is older than this program: mealtab install puts the new one on it (nothing was written)"},
		{"newer tables", identified(identity(frame.Version, table.Version+1, 1, 1, 1024, 416)), "m328-mains", 0,
			"the board on port has version 4 of the table format, this program has version 3; a newer mealtab is needed (nothing was written)"},
		{"older tables", identified(identity(frame.Version, table.OldestVersion-1, 1, 1, 1024, 416)), "m328-mains", 0,
			"the board on port has version 1 of the table format, this program has version 3; its firmware is older than this program: mealtab install puts the new one on it (nothing was written)"},
		{"another board", identified(identity(frame.Version, table.Version, 1, 2, 1024, 416)), "m328-mains", 0,
			"the table is for m328-mains, the board on port is m328-cells (nothing was written)"},
		{"an unknown board", identified(identity(frame.Version, table.Version, 1, 77, 1024, 416)), "m328-mains", 0,
			"the table is for m328-mains, the board on port is board 77 (nothing was written)"},
		{"a full bank", identified(identity(frame.Version, table.Version, 1, 1, 1024, 416)), "m328-mains", 416,
			"the table has 416 bytes, a bank of the board on port holds 415 (nothing was written)"},
		{"another EEPROM", identified(identity(frame.Version, table.Version, 1, 1, 2048, 700)), "m328-mains", 0,
			"port: the board says it has 2048 bytes of EEPROM in banks of 700; no feeder this program knows has"},
		{"a short answer", identified([]byte{frame.Version, 1, 1}), "m328-mains", 0,
			"port answers with 3 bytes where a feeder's answer has 15"},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := &flashertest.Answering{Octets: c.answer}
			f, err := flasher.Connect(link.New(a, "port", 57600))
			if err == nil {
				err = f.Upload(flashertest.Table(t, c.board, []uint16{60, 600}, c.bytes), flasher.Status{Bank: flasher.NoBank}, nil)
			}
			require.EqualError(t, err, c.want)
			onlyIdentify(t, a.Sent)
		})
	}
}

func identified(id []byte) func([]byte) []byte {
	return flashertest.Messages(func(code byte, _ []byte) (byte, []byte) {
		if code == frame.Identify {
			return frame.OK, id
		}
		return frame.BadRequest, nil
	})
}

// onlyIdentify wants no other request among the octets, and none that a bootloader takes for "program page" (STK500, 64 hex).
func onlyIdentify(t *testing.T, octets []byte) {
	var d frame.Decoder
	for _, b := range octets {
		require.NotEqual(t, byte(0x64), b)
		if content, err, done := d.Next(b); done && err == nil {
			require.Equal(t, byte(frame.Identify), content[0])
		}
	}
}

// Statuses of the board become words, and the table that was in force stays so.
func TestUploadFailsAtTheBoard(t *testing.T) {
	for _, c := range []struct {
		name   string
		answer func(code byte, payload []byte) (byte, []byte)
		want   string
	}{
		{"write refused", func(code byte, _ []byte) (byte, []byte) { return frame.BadRange, nil },
			"port: the board answers BAD_RANGE to BANK_WRITE: offset, count or value out of range; the old table stays in force"},
		{"worn cells", func(code byte, p []byte) (byte, []byte) {
			return frame.OK, make([]byte, len(p)-2)
		}, "port: byte 0 of the spare bank reads 00 after writing 20: try again; if it stays so, the EEPROM is worn out; the old table stays in force"},
		{"not taken", taking(func() (byte, []byte) { return frame.BadTable, []byte{table.FaultMeal} }),
			"port: the board answers BAD_TABLE to BANK_COMMIT: what has come to its spare bank is not a valid table (a meal is malformed); the old table stays in force"},
		{"not newer", taking(func() (byte, []byte) { return frame.Stale, nil }),
			"port: the board answers STALE to BANK_COMMIT: the table to be committed is not newer than the one in force, or not the one meant; the old table stays in force"},
	} {
		t.Run(c.name, func(t *testing.T) {
			id := identity(frame.Version, table.Version, 1, 1, 1024, 416)
			a := &flashertest.Answering{Octets: flashertest.Messages(func(code byte, payload []byte) (byte, []byte) {
				if code == frame.Identify {
					return frame.OK, id
				}
				return c.answer(code, payload)
			})}
			f, err := flasher.Connect(link.New(a, "port", 57600))
			require.NoError(t, err)
			err = f.Upload(flashertest.Table(t, "m328-mains", []uint16{60, 600}, 0), flasher.Status{Bank: 0}, nil)
			require.EqualError(t, err, c.want)
		})
	}
}

// taking is a board whose cells hold what is written, and that answers commits as it is told.
func taking(commit func() (byte, []byte)) func(byte, []byte) (byte, []byte) {
	return func(code byte, p []byte) (byte, []byte) {
		if code == frame.BankWrite {
			return frame.OK, p[2:]
		}
		return commit()
	}
}
