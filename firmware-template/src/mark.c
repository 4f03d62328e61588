#include "mark.h"

#include "table_format.h"

static uint8_t ones(uint8_t byte)
{
	uint8_t n = 0;

	for (; byte; byte &= byte - 1)
		n++;
	return n;
}

/* Counting through the bytes costs up to 10,000 cycles, little beside the 3.4 ms of the write that follows, and no
 * table. */
uint8_t mark_index(uint8_t byte)
{
	uint8_t index = 0;

	if (ones(byte) != 4)
		return NO_MARK;
	for (uint8_t b = MARK_FIRST; b != byte; b++)
		if (ones(b) == 4)
			index++;
	return index;
}

uint8_t mark_of(uint8_t index)
{
	uint8_t byte = MARK_FIRST;

	while (index > 0)
		if (ones(++byte) == 4)
			index--;
	return byte;
}
