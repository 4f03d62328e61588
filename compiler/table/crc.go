package table

// CRC returns CRC-16/IBM-SDLC: polynomial x^16+x^12+x^5+1, reflected, initial value and final exclusive-or FFFF.
// It is the frame check sequence of RFC 1662 §C.2, so that the feeder needs one routine for storage and line.
// Check value: CRC("123456789") = 906E.
func CRC(data []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range data {
		x := b ^ byte(crc)
		x ^= x << 4
		crc = crc>>8 ^ uint16(x)<<8 ^ uint16(x)<<3 ^ uint16(x)>>4
	}
	return ^crc
}
