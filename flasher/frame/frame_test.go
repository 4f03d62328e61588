package frame

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"testing"
)

// Check value of CRC-16/IBM-SDLC, the frame check sequence of RFC 1662 section C.2, in the catalogue of parametrised CRC
// algorithms; the good value is RFC 1662's PPPGOODFCS16.
func TestFCS(t *testing.T) {
	if got := FCS([]byte("123456789")); got != 0x906E {
		t.Errorf("FCS is %04X, want 906E", got)
	}
	if got := fcsAdd(fcsStart, append([]byte("123456789"), 0x6E, 0x90)); got != fcsGood {
		t.Errorf("a frame with its FCS leaves %04X, want %04X", got, fcsGood)
	}
}

// Octet stuffing by RFC 1662 section 4.2: 7E becomes 7D 5E, 7D becomes 7D 5D.
func TestStuffing(t *testing.T) {
	got := Append(nil, []byte{1, 0x7E, 0x7D})
	if !bytes.HasPrefix(got, []byte{0x7E, 1, 0x7D, 0x5E, 0x7D, 0x5D}) || got[len(got)-1] != Flag {
		t.Errorf("% X", got)
	}
}

func decodeAll(d *Decoder, octets []byte) (contents [][]byte, errs []error) {
	for _, b := range octets {
		content, err, done := d.Next(b)
		if done && err == nil {
			contents = append(contents, bytes.Clone(content))
		} else if done {
			errs = append(errs, err)
		}
	}
	return contents, errs
}

func TestRoundTrip(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var d Decoder
	for range 5000 {
		want := make([]byte, minContent+r.IntN(MaxContent-minContent+1))
		for i := range want {
			want[i] = byte(r.Uint32N(4) * 0x3F) // flags and escapes are frequent
		}
		got, errs := decodeAll(&d, Append(nil, want))
		if len(got) != 1 || len(errs) != 0 || !bytes.Equal(got[0], want) {
			t.Fatalf("%X comes back as %X, %v", want, got, errs)
		}
	}
}

func TestBadFrames(t *testing.T) {
	for octets, want := range map[string]error{
		"\x7E\x01\x02\x00\x00\x7E": ErrFCS,
		"\x7E\x01\x02\x7D\x7E":     ErrAbort,
		"\x7E\x01\x7E":             ErrShort,
		"\x7E" + string(bytes.Repeat([]byte{1}, MaxContent+3)) + "\x7E": ErrLong,
	} {
		var d Decoder
		contents, errs := decodeAll(&d, []byte(octets))
		if len(contents) != 0 || len(errs) != 1 || !errors.Is(errs[0], want) {
			t.Errorf("% X: %v, want %v", octets, errs, want)
		}
		if contents, _ := decodeAll(&d, Append(nil, []byte{1, 2})); len(contents) != 1 {
			t.Errorf("after % X a good frame is lost", octets)
		}
	}
}

// The tables that the C header is made from.
func TestMessages(t *testing.T) {
	for i, m := range Messages() {
		if m.Code != i+1 {
			t.Errorf("%s has code %d, its place is %d", m.Name, m.Code, i+1)
		}
		for _, fields := range [][]Field{m.Request, m.Response} {
			at, afterRest := 0, false
			for _, f := range fields {
				if f.Offset != at {
					t.Errorf("%s %s stands at %d, the field before ends at %d", m.Name, f.Name, f.Offset, at)
				}
				at += f.Width
				if f.Width == 0 { // what follows is counted from the end
					if afterRest {
						t.Errorf("%s has two fields without a width", m.Name)
					}
					at, afterRest = at-Size(fields), true
				}
			}
			if Size(fields)+MinAnswer > MaxContent {
				t.Errorf("%s does not fit a frame", m.Name)
			}
		}
	}
	for i, s := range Statuses() {
		if s.Value != i || StatusError(i).Error() == "" {
			t.Errorf("status %s has value %d in place %d", s.Name, s.Value, i)
		}
	}
}

func FuzzDecoder(f *testing.F) {
	f.Add([]byte("\x7E\x01\x02\x7D\x5E\x7E"))
	f.Add(Append(Append(nil, []byte{1, 2, 3}), []byte{0x7E, 0x7D}))
	f.Fuzz(func(t *testing.T, octets []byte) {
		var d Decoder
		contents, _ := decodeAll(&d, octets)
		for _, c := range contents {
			if len(c) < minContent || len(c) > MaxContent {
				t.Errorf("content of %d bytes", len(c))
			}
		}
	})
}
