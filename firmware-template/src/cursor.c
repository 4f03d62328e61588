#include "cursor.h"

#include "outlined.h"
#include "storage.h"

uint16_t cursor_at;
uint16_t cursor_end;
bool cursor_bad;

uint8_t cursor_u8(void)
{
	if (cursor_at >= cursor_end) {
		cursor_bad = true;
		return 0;
	}
	return storage_read(cursor_at++);
}

uint16_t cursor_u16(void)
{
	uint16_t low = cursor_u8();
	return low | (uint16_t)cursor_u8() << 8;
}

uint32_t cursor_u24(void)
{
	uint32_t low = cursor_u16();
	return low | (uint32_t)cursor_u8() << 16;
}

/* The groups of a number after its first byte. */
static uint32_t number_rest(uint8_t byte)
{
	uint32_t value = byte & 0x7F;

	for (uint8_t shift = 7; byte & 0x80; shift += 7) {
		byte = cursor_u8();
		if (byte == 0 || shift > 21) {
			cursor_bad = true;
			return 0;
		}
		value |= (uint32_t)(byte & 0x7F) << shift;
	}
	return value;
}

uint32_t cursor_number(void)
{
	return number_rest(cursor_u8());
}

uint16_t cursor_small(void)
{
	uint8_t byte = cursor_u8();
	uint32_t v;

	if (byte < 0x80) /* nearly all are */
		return byte;
	v = number_rest(byte);
	return v > 0xFFFF ? 0xFFFF : (uint16_t)v;
}

int16_t cursor_signed(void)
{
	uint16_t v = cursor_small();

	return (int16_t)(v >> 1 ^ -(v & 1));
}
