/* storage.h on the AVR's own EEPROM. Facts: ATmega328P data sheet, section 8.4 and 8.6.3. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "board.h"
#include "outlined.h"
#include "storage.h"

/* Waits for a write in progress: while EEPE is set neither reads nor EEAR work. */
INLINED void finish(void)
{
	while (EECR & 1 << EEPE)
		;
}

uint8_t storage_read(uint16_t at)
{
	finish(); /* a reset does not end a write */
	EEAR = at;
	__asm__ volatile("sbi %0, %1" ::"I"(_SFR_IO_ADDR(EECR)), "I"(EERE)); /* the compiler would take five instructions */
	return EEDR;
}

/* Starts a write and waits for its end; the callers' order of writes is their promise. One that a reset left in progress is over by
 * now: every start reads first. */
static void program(uint16_t at, uint8_t value)
{
	/* EEPE must follow EEMPE within four cycles: two instructions of two cycles, whatever the compiler would make of it,
	 * and no interrupt between them. Interrupts are off for about 10 cycles. */
	cli();
	EEAR = at;
	EEDR = value;
	__asm__ volatile("sbi %0, %1\n\tsbi %0, %2" ::"I"(_SFR_IO_ADDR(EECR)), "I"(EEMPE), "I"(EEPE));
	sei();
	finish();
}

OUTLINED void storage_write(uint16_t at, uint8_t value)
{
	EECR &= (uint8_t)~(1 << EEPM1); /* erase and write: 3.4 ms */
	program(at, value);
}

void storage_refresh(uint16_t at, uint8_t value)
{
	EECR |= 1 << EEPM1; /* write only: 1.8 ms */
	program(at, value);
}
