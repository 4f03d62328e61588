/* Storage and the clock's memory of which nothing is known, for the analysis: any byte is read, each time, and any offset may be asked for, of
 * which the chips take the low bits. Written is only what is there. CLOCK_MEMORY says whether the clock's memory answers at first. */
#include "__fc_builtin.h"

#include "history.h"
#include "storage.h"
#include "table_format.h"

uint8_t storage_read(uint16_t at)
{
	(void)at;
	return (uint8_t)Frama_C_interval(0, 255);
}

void storage_write(uint16_t at, uint8_t value)
{
	//@ assert in_storage: at < EEPROM_SIZE;
	(void)value;
}

void storage_refresh(uint16_t at, uint8_t value)
{
	storage_write(at, value);
}

static bool asked;

bool memory_read(uint16_t at, uint8_t *to, uint8_t n)
{
	(void)at;
	for (uint8_t i = 0; i < n; i++)
		to[i] = (uint8_t)Frama_C_interval(0, 255);
	if (!asked) {
		asked = true;
		return CLOCK_MEMORY;
	}
	return Frama_C_interval(0, 1) != 0;
}

void memory_write(uint16_t at, uint8_t *from, uint8_t n)
{
	//@ assert in_memory: at + n <= 4096;
	for (uint8_t i = 0; i < n; i++)
		(void)from[i];
}
