/* The byte store of the host build: an array. Offsets beyond it read FF and are not written, as on the chip. */
#include "storage_host.h"

#include "storage.h"

uint8_t host_storage[HOST_STORAGE_SIZE];

uint8_t storage_read(uint16_t at)
{
	return at < HOST_STORAGE_SIZE ? host_storage[at] : 0xFF;
}

void storage_write(uint16_t at, uint8_t value)
{
	if (at < HOST_STORAGE_SIZE)
		host_storage[at] = value;
}

void storage_refresh(uint16_t at, uint8_t value)
{
	if (at < HOST_STORAGE_SIZE)
		host_storage[at] &= value;
}
