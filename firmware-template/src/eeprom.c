/* storage.h on the AVR's own EEPROM. Facts: ATmega328P data sheet, section 8.4 and 8.6.3. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "board.h"
#include "outlined.h"
#include "storage.h"

uint8_t storage_read(uint16_t at)
{
	if (at >= EEPROM_SIZE)
		return 0xFF;
	while (EECR & 1 << EEPE) /* while it is set neither reads nor EEAR work */
		;
	EEAR = at;
	EECR = 1 << EERE;
	return EEDR;
}

/* Starts a write in the mode of the EEPM bits and waits for its end; the callers' order of writes is their promise. */
static void program(uint16_t at, uint8_t value, uint8_t mode)
{
	uint8_t sreg = SREG;

	if (at >= EEPROM_SIZE)
		return;
	while (EECR & 1 << EEPE)
		;
	/* EEPE must follow EEMPE within four cycles: two instructions of two cycles, whatever the compiler would make of it,
	 * and no interrupt between them. Interrupts are off for about 14 cycles. */
	cli();
	EECR = mode;
	EEAR = at;
	EEDR = value;
	__asm__ volatile("sbi %0, %1\n\tsbi %0, %2" ::"I"(_SFR_IO_ADDR(EECR)), "I"(EEMPE), "I"(EEPE));
	SREG = sreg;
	while (EECR & 1 << EEPE)
		;
}

OUTLINED void storage_write(uint16_t at, uint8_t value)
{
	program(at, value, 0); /* erase and write: 3.4 ms */
}

void storage_refresh(uint16_t at, uint8_t value)
{
	program(at, value, 1 << EEPM1); /* write only: 1.8 ms */
}
