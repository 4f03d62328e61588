#include "cursor.h"

#include "outlined.h"
#include "storage.h"

uint16_t cursor_at;
uint16_t cursor_end;
bool cursor_bad;

OUTLINED uint16_t cursor_place(void)
{
	return cursor_at;
}

OUTLINED void cursor_fail(void)
{
	cursor_bad = true;
}

OUTLINED void cursor_to(uint16_t at)
{
	cursor_at = at;
}

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

OUTLINED int16_t cursor_quarters(void)
{
	int8_t quarters = (int8_t)cursor_u8();

	EXPECT(-64 <= quarters && quarters <= 63);
	return 15 * quarters;
}

uint32_t cursor_number(void)
{
	uint32_t value = 0;
	uint8_t byte;

	do {
		if ((uint8_t)(value >> 24) != 0) { /* 2^31 or more */
			cursor_fail();
			return 0;
		}
		byte = cursor_u8();
		EXPECT(value != 0 || byte != 0x80);
		value = value << 7 | (byte & 0x7F);
	} while (byte & 0x80);
	return value;
}

OUTLINED uint16_t cursor_word(uint16_t most)
{
	uint32_t value = cursor_number();
	uint16_t word = (uint16_t)value;

	if ((uint16_t)(value >> 16) != 0 || word > most) {
		cursor_fail();
		return 0;
	}
	return word;
}

int16_t cursor_signed(uint16_t most)
{
	uint16_t v = cursor_word(most);

	return (int16_t)(v >> 1 ^ -(v & 1));
}
