package flasher_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/flashertest"
)

// cost is what an upload took on the emulated board, in the board's time, and what could not have been less.
type cost struct {
	payload        int           // bytes of the table, once there and once back
	protocol       int           // octets on the line for them
	took           time.Duration // from the first octet to the answer to the commit
	wire, cells    time.Duration // octets at ten bits each; EEPROM writes at 3.4 ms (ATmega328P data sheet, table 8-1)
	bytesPerByte   float64
	timesTheLeast  float64
	tableBytes     int
	commitAndOther int // octets of the commit
}

func costOf(t testing.TB, size int, out, in time.Duration) (c cost) {
	t.Helper()
	old := flashertest.Table(t, "m328-mains", []uint16{7 * 60, 18*60 + 30}, 0)
	tab := flashertest.Table(t, "m328-mains", []uint16{8*60 + 1, 19 * 60}, size)
	e := flashertest.New(t, "m328-mains", old, nil)
	e.Out, e.In = out, in
	f := connect(t, e)
	s, err := f.Status()
	require.NoError(t, err)
	stats, cells, began := f.Link().Stats, e.Board.MCU().Stats().EEPROMWrites, e.Now()
	require.NoError(t, f.Upload(tab, s, nil))
	c.took = e.Now().Sub(began)
	octets := f.Link().Stats.Sent + f.Link().Stats.Received - stats.Sent - stats.Received
	c.tableBytes, c.payload = len(tab), 2*len(tab)
	c.commitAndOther = (6 + 3) + (6 + 1) // request and answer of BANK_COMMIT, without stuffing
	c.protocol = octets - c.commitAndOther
	c.wire = f.Link().Wire(octets)
	c.cells = time.Duration(e.Board.MCU().Stats().EEPROMWrites-cells) * 3400 * time.Microsecond
	c.bytesPerByte = float64(c.protocol) / float64(c.payload)
	c.timesTheLeast = float64(c.took) / float64(c.wire+c.cells)
	return c
}

// The limits: 1.3 times the wire's own time and that of the EEPROM, 1.25 octets for each byte of the table that goes there and comes
// back. The answer to BANK_WRITE brings back what the cells hold: asking for it made 1.375 of forty bytes.
func TestUploadCosts(t *testing.T) {
	for _, size := range []int{40, 96, 200, 400} {
		c := costOf(t, size, 0, 0)
		t.Logf("%d bytes: %v, %.2f times wire (%v) and EEPROM (%v); %.3f octets a byte", c.tableBytes, c.took.Round(time.Millisecond),
			c.timesTheLeast, c.wire.Round(time.Millisecond), c.cells.Round(time.Millisecond), c.bytesPerByte)
		require.LessOrEqual(t, c.timesTheLeast, 1.3)
		require.LessOrEqual(t, c.bytesPerByte, 1.25)
	}
}

func BenchmarkUpload(b *testing.B) {
	for b.Loop() {
		c := costOf(b, 400, time.Millisecond, 2*time.Millisecond)
		b.ReportMetric(c.timesTheLeast, "times-wire-and-EEPROM")
		b.ReportMetric(c.bytesPerByte, "octets/byte")
	}
}
