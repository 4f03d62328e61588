package check

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"mealtab/compiler/table"
	"mealtab/flasher/frame"
)

// line talks to the C protocol through its pipe.
type line struct {
	*pipe
	sequence byte
}

func newLine(t testing.TB) *line {
	l := &line{start(t, "line_pipe"), 0}
	l.restart()
	return l
}

func (l *line) restart() {
	l.send("B")
	l.line()
}

func (l *line) eeprom() []byte {
	l.send("E")
	b, err := hex.DecodeString(l.line())
	if err != nil {
		l.t.Fatal(err)
	}
	return b
}

func (l *line) pockets() int {
	l.send("P")
	n, err := strconv.Atoi(l.line())
	if err != nil {
		l.t.Fatal(err)
	}
	return n
}

// octets sends raw octets and returns what comes back.
func (l *line) octets(b []byte) []byte {
	l.send("S %x", b)
	out, err := hex.DecodeString(l.line())
	if err != nil {
		l.t.Fatal(err)
	}
	return out
}

// request sends one message and returns the status and payload of the answer.
func (l *line) request(name string, payload []byte) (status int, answer []byte) {
	m := frame.MessageNamed(name)
	l.sequence++
	out := l.octets(frame.Append(nil, append([]byte{byte(m.Code), l.sequence}, payload...)))
	var d frame.Decoder
	for _, b := range out {
		content, err, done := d.Next(b)
		if !done {
			continue
		}
		if err != nil || content[0] != byte(m.Code)|frame.Answer || content[1] != l.sequence {
			l.t.Fatalf("%s: answer %x, %v", name, content, err)
		}
		answer, status = frame.Response(content)
		return status, bytes.Clone(answer)
	}
	l.t.Fatalf("%s: no answer in %x", name, out)
	return 0, nil
}

// ask is request that must be answered OK, with the fields of fixed width at least.
func (l *line) ask(name string, payload []byte) []byte {
	status, answer := l.request(name, payload)
	if want := frame.Size(frame.MessageNamed(name).Response); status != frame.OK || len(answer) < want {
		l.t.Fatalf("%s: status %d, %d bytes, want OK and at least %d", name, status, len(answer), want)
	}
	return answer
}

// status is a field of the answer to STATUS.
func (l *line) status(field string) []byte {
	return frame.MessageNamed("STATUS").Answered(l.ask("STATUS", nil), field)
}

// inForce is the bank in force and the CRC of its table.
func (l *line) inForce() (bank byte, crc []byte) {
	return l.status("BANK")[0], l.status("TABLE_CRC")
}

// upload writes a table to the spare bank in chunks.
func (l *line) upload(encoded []byte) {
	for at := 0; at < len(encoded); at += frame.MaxData {
		chunk := encoded[at:min(at+frame.MaxData, len(encoded))]
		l.ask("BANK_WRITE", append(binary.LittleEndian.AppendUint16(nil, uint16(at)), chunk...))
	}
}

func commitPayload(encoded []byte) []byte {
	return append(bytes.Clone(encoded[len(encoded)-2:]), encoded[3])
}

// install puts a table in force.
func (l *line) install(encoded []byte) {
	l.upload(encoded)
	l.ask("BANK_VERIFY", nil)
	l.ask("BANK_COMMIT", commitPayload(encoded))
}

func golden(t testing.TB, name string) []byte {
	b, ok := goldenTables(t)[name]
	if !ok {
		t.Fatalf("no golden table %s", name)
	}
	return b
}

func TestUpload(t *testing.T) {
	l := newLine(t)
	first := golden(t, "01-two-cats.txt")
	l.install(first)
	bank, crc := l.inForce()
	if bank > 1 || !bytes.Equal(crc, first[len(first)-2:]) {
		t.Errorf("after the commit bank %d, table %x", bank, crc)
	}
	l.ask("BANK_COMMIT", commitPayload(first)) // again: its answer may have been lost
	if code, _ := l.request("BANK_COMMIT", commitPayload(golden(t, "03-weekend.txt"))); code == frame.OK {
		t.Error("commits a table that is not there")
	}
	second := table.WithSequence(golden(t, "03-weekend.txt"), first[3]+1)
	l.install(second)
	l.restart()
	if after, crc := l.inForce(); after == bank || !bytes.Equal(crc, second[len(second)-2:]) {
		t.Errorf("after the second commit and a restart bank %d, table %x", after, crc)
	}
	l.upload(table.WithSequence(first, second[3]))
	if code, _ := l.request("BANK_COMMIT", commitPayload(table.WithSequence(first, second[3]))); code != frame.Stale {
		t.Errorf("a table that is not newer: status %d", code)
	}
}

// A token is served once, also across a restart.
func TestServeOnce(t *testing.T) {
	l := newLine(t)
	l.install(golden(t, "01-two-cats.txt"))
	serve := []byte{l.status("TOKEN")[0] + 1, 0, 0, 0}
	before := l.pockets()
	l.ask("SERVE", serve)
	l.ask("SERVE", serve)
	l.restart()
	l.ask("SERVE", serve)
	if got := l.pockets() - before; got != 1 {
		t.Errorf("%d pockets for one token", got)
	}
}

// Every answer has the size of its description.
func TestAnswerSizes(t *testing.T) {
	l := newLine(t)
	l.install(golden(t, "01-two-cats.txt"))
	for _, m := range frame.Messages() {
		payload := make([]byte, frame.Size(m.Request))
		switch m.Name {
		case "CLOCK_SET":
			binary.LittleEndian.PutUint32(payload, 850_000_000)
		case "EEPROM_READ":
			payload[2] = 1
		case "BANK_WRITE":
			payload = append(payload, 0)
		case "NEXT":
			payload[4] = 1
		case "SERVE":
			payload[0] = l.status("TOKEN")[0]
		case "SETTINGS":
			payload = []byte{0xFF, 10}
		}
		status, answer := l.request(m.Name, payload)
		rest := slices.ContainsFunc(m.Response, func(f frame.Field) bool { return f.Width == 0 })
		if want := frame.Size(m.Response); len(answer) < want || len(answer) > want && !rest {
			t.Errorf("%s: status %d, %d bytes, described are %d", m.Name, status, len(answer), want)
		}
		if status, _ := l.request(m.Name, append(payload, make([]byte, 100-len(payload))...)); m.Name != "BANK_WRITE" && status != frame.BadRequest {
			t.Errorf("%s with too much payload: status %d", m.Name, status)
		}
	}
}

// Arbitrary octets and frames: no answer that was not asked for, and the bank in force never changes.
func TestHostileFrames(t *testing.T) {
	l := newLine(t)
	l.install(golden(t, "01-two-cats.txt"))
	bank := int(l.status("BANK")[0])
	m, _ := table.MapFor(1024)
	force := l.eeprom()[m.Bank(bank) : m.Bank(bank)+m.BankSize]
	r := rand.New(rand.NewPCG(5, 6))
	for range 3000 {
		l.octets(hostileOctets(r))
	}
	if now := l.eeprom()[m.Bank(bank) : m.Bank(bank)+m.BankSize]; !bytes.Equal(now, force) {
		t.Error("the bank in force has changed")
	}
	l.octets([]byte{frame.Flag})
	l.ask("IDENTIFY", nil)
}

// hostileOctets is a batch of frames: random, well formed but for their message, or with an octet changed, dropped or doubled. None
// commits, which alone may change the bank in force.
func hostileOctets(r *rand.Rand) []byte {
	var out []byte
	for range 20 {
		content := make([]byte, r.IntN(110))
		for i := range content {
			content[i] = byte(r.Uint32())
		}
		if len(content) > 0 && r.IntN(4) > 0 {
			content[0] = byte(r.IntN(frame.Ageing + 2))
			if content[0] == frame.BankCommit || content[0] == frame.Next {
				content[0] = frame.Status
			}
		}
		f := frame.Append(nil, content)
		if r.IntN(3) == 0 {
			i := r.IntN(len(f))
			f = append(append(f[:i:i], byte(r.Uint32())), f[i+r.IntN(2):]...)
		}
		out = append(out, f...)
	}
	return out
}
