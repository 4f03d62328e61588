#include "crc.h"

#include "outlined.h"

uint16_t crc_add(uint16_t crc, uint8_t byte)
{
	/* Bit by bit: eight at once are twice as fast and 24 bytes longer. */
	crc ^= byte;
	for (uint8_t bit = 8; bit > 0; bit--)
		crc = crc & 1 ? crc >> 1 ^ 0x8408 : crc >> 1;
	return crc;
}

OUTLINED uint16_t crc_over(uint16_t crc, const uint8_t *from, uint8_t n)
{
	do
		crc = crc_add(crc, *from++);
	while (--n > 0);
	return crc;
}

uint8_t crc_short(const uint8_t *from, uint8_t n)
{
	return (uint8_t)~crc_over(CRC_START, from, n);
}
