/* Counts the cycles of searches, on the chip or its emulation: PB0 is high during each. The table stands at EEPROM offset 1; the
 * last ten bytes of a 1 KiB EEPROM give the first instant (4), the step (4) and the number of searches (2). PB1 rises if the
 * table cannot be opened. Ends with BREAK. */
#include <avr/io.h>

#include "bytes.h"
#include "table.h"

#define PARAMETERS 1014

int main(void)
{
	uint8_t parameters[10];
	int32_t after, step;
	uint16_t count;

	bytes_load(parameters, PARAMETERS, sizeof parameters);
	after = (int32_t)bytes_get(parameters, 4);
	step = (int32_t)bytes_get(parameters + 4, 4);
	count = (uint16_t)bytes_get(parameters + 8, 2);
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
