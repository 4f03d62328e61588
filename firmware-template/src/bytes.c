#include "bytes.h"

#include "outlined.h"
#include "storage.h"

#include <string.h>

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

OUTLINED void bytes_load(uint8_t *to, uint16_t at, uint8_t n)
{
	for (; n > 0; n--)
		*to++ = storage_read(at++);
}

OUTLINED void bytes_save(uint16_t at, const uint8_t *from, uint8_t n)
{
	while (n > 0) {
		n--;
		storage_write(at + n, from[n]);
	}
}

OUTLINED void bytes_copy4(void *to, const void *from)
{
	memcpy(to, from, 4);
}

OUTLINED void bytes_add(int32_t *to, int16_t minutes)
{
	*to += minutes;
}
