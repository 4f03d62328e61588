#include "bytes.h"

void bytes_put(uint8_t *at, uint32_t value, uint8_t n)
{
	for (; n > 0; n--) {
		*at++ = (uint8_t)value;
		value >>= 8;
	}
}

uint32_t bytes_get(const uint8_t *at, uint8_t n)
{
	uint32_t value = 0;

	while (n > 0)
		value = value << 8 | at[--n];
	return value;
}
