/* Counts the cycles of searches, on the chip or its emulation: PB0 is high during each. The table stands at EEPROM offset 1; the
 * last ten bytes of a 1 KiB EEPROM give the first instant (4), the step (4) and the number of searches (2). PB1 rises if the
 * table cannot be opened. Ends with BREAK. */
#include <avr/io.h>

#include "storage.h"
#include "table.h"

#define PARAMETERS 1014

static uint32_t parameter(uint16_t at, uint8_t n)
{
	uint32_t value = 0;

	while (n > 0)
		value = value << 8 | storage_read(at + --n);
	return value;
}

int main(void)
{
	int32_t after = (int32_t)parameter(PARAMETERS, 4);
	int32_t step = (int32_t)parameter(PARAMETERS + 4, 4);
	uint16_t count = (uint16_t)parameter(PARAMETERS + 8, 2);

	DDRB = 1 << PB0 | 1 << PB1;
	if (table_open(1, PARAMETERS - 1) != TABLE_GOOD)
		PORTB |= 1 << PB1;
	for (; count > 0; count--, after += step) {
		PORTB |= 1 << PB0;
		table_next(after, SEARCH_MINUTES, ALL_PRESETS);
		PORTB &= (uint8_t)~(1 << PB0);
	}
	__asm__ volatile("break");
	return 0;
}
