/* storage.h on the AVR's own EEPROM. Facts: ATmega328P data sheet, section 8.4 and 8.6.3. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "board.h"
#include "storage.h"

uint8_t storage_read(uint16_t at)
{
	if (at >= EEPROM_SIZE)
		return 0xFF;
	while (EECR & 1 << EEPE) /* while it is set neither reads nor EEAR work */
		;
	EEAR = at;
	EECR |= 1 << EERE;
	return EEDR;
}

void storage_write(uint16_t at, uint8_t value)
{
	uint8_t sreg = SREG;

	if (at >= EEPROM_SIZE)
		return;
	while (EECR & 1 << EEPE)
		;
	/* EEPE must follow EEMPE within four cycles: no interrupt between them. Interrupts are off for 12 cycles. */
	cli();
	EEAR = at;
	EEDR = value;
	EECR = 1 << EEMPE; /* EEPM bits 00: erase and write */
	EECR |= 1 << EEPE;
	SREG = sreg;
	while (EECR & 1 << EEPE) /* 3.4 ms; the callers' order of writes is their promise */
		;
}
