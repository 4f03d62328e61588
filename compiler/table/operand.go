package table

import "fmt"

// Encoding is how an operand stands in the bytes of a table. FORMAT.md says what each means.
type Encoding string

// The encodings.
const (
	EncodingU8       Encoding = "u8"       // a byte
	EncodingU16      Encoding = "u16"      // two bytes, low first
	EncodingDay      Encoding = "day"      // the same: days since 1998-01-01
	EncodingNumber   Encoding = "number"   // groups of seven bits
	EncodingSigned   Encoding = "signed"   // a number
	EncodingQuarters Encoding = "quarters" // a signed byte
	EncodingMask     Encoding = "mask"     // a number whose bits stand for themselves
	EncodingList     Encoding = "list"     // numbers, and a 0
	EncodingTime     Encoding = "time"     // a number
)

// Operand is one value as it stands: what it is called, how it is written, and between which bounds it lies, both included. Those of a
// list are of each entry.
type Operand struct {
	Name        string
	Encoding    Encoding
	Least, Most int
}

func (o Operand) String() string {
	return fmt.Sprintf("%s: %s, %d to %d", o.Name, o.Encoding, o.Least, o.Most)
}

// value is what an operand holds: a number (of a signed one its value as an int32), or the entries of a list.
type value struct {
	n    uint32
	list []uint32
}

func number(n uint32) value     { return value{n: n} }
func places(list []int) value   { return value{list: codes(list, signedCode)} }
func dayNumbers(d []Day) value  { return value{list: codes(d, dayNumber)} }
func weekdayList(l []Nth) value { return value{list: codes(l, nthCode)} }

func dayNumber(d Day) uint32 { return uint32(d) + epochDays }
func nthCode(n Nth) uint32   { return signedCode(n.N)<<nthShift | uint32(n.Weekday+1) }

func codes[T any](list []T, code func(T) uint32) []uint32 {
	out := make([]uint32, len(list))
	for i, v := range list {
		out[i] = code(v)
	}
	return out
}

// write writes an operand, which must lie within its bounds.
func (w *writer) write(o *Operand, v value) {
	switch o.Encoding {
	case EncodingU8, EncodingQuarters:
		w.u8(int(v.n))
	case EncodingU16, EncodingDay:
		w.u16(uint16(v.n))
	case EncodingSigned:
		w.number(signedCode(int(int32(v.n))))
	case EncodingList:
		w.list(v.list)
	case EncodingTime:
		w.time(uint16(v.n))
	default:
		w.number(v.n)
	}
}

// read reads an operand and holds it to its bounds.
func (r *reader) read(o *Operand) value {
	n := 0
	switch o.Encoding {
	case EncodingList:
		return value{list: r.entries(o)}
	case EncodingU8:
		n = r.u8()
	case EncodingQuarters:
		n = r.i8()
	case EncodingU16, EncodingDay:
		n = int(r.u16())
	case EncodingSigned:
		n = r.signed()
	case EncodingTime:
		n = int(r.time())
	default:
		n = int(r.number())
	}
	if r.err == nil && (n < o.Least || n > o.Most) {
		r.fail(o.Name, "%d, as a %s, is outside %d to %d", n, o.Encoding, o.Least, o.Most)
		return value{n: uint32(o.Least)}
	}
	return value{n: uint32(n)}
}

// entries reads an ascending list, which is not empty.
func (r *reader) entries(o *Operand) (list []uint32) {
	last := 0
	for r.err == nil {
		step := int(r.number())
		if step == 0 {
			break
		}
		if last += step; last < o.Least || last > o.Most {
			r.fail(o.Name, "entry %d is outside %d to %d", last, o.Least, o.Most)
			return nil
		}
		list = append(list, uint32(last))
	}
	if len(list) == 0 {
		r.fail(o.Name, "an empty list")
	}
	return list
}
