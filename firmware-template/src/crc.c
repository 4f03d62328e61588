#include "crc.h"

uint16_t crc_add(uint16_t crc, uint8_t byte)
{
	/* The polynomial 8408 applied to eight bits at once: no table, about 20 instructions. */
	byte ^= (uint8_t)crc;
	byte ^= (uint8_t)(byte << 4);
	return (uint16_t)(crc >> 8 ^ (uint16_t)byte << 8 ^ (uint16_t)byte << 3 ^ byte >> 4);
}

uint16_t crc_over(uint16_t crc, const uint8_t *from, uint8_t n)
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
