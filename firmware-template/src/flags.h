/* Bits that many places ask. On the AVR they stand in GPIOR0, the one spare register whose bits single instructions set, clear
 * and test: two bytes of flash each, where a variable takes six. power_early clears it. Interrupts write some of them. */
#ifndef FLAGS_H
#define FLAGS_H

#include <stdint.h>

typedef struct {
	uint8_t woken : 1;       /* power: an interrupt that ends a sleep has come, or a frame; bit 0 in its handlers */
	uint8_t period_over : 1; /* wheel: a period of the pulse has ended; bit 1 in its handler */
	uint8_t ready : 1;       /* line: a frame waits to be answered */
	uint8_t escaped : 1;     /* line: an escape was seen */
	uint8_t armed : 1;       /* feeder: `serving` is the first after the cursor, and the clock is armed for it */
	uint8_t waiting : 1;     /* feeder: something is due that waits for the supply */
	uint8_t asked : 1;       /* feeder: a serving is in the journal and not turned yet */
} flags_t;

#ifdef __AVR__
#include <avr/io.h>
#define flags (*(volatile flags_t *)&GPIOR0)
#else
extern volatile flags_t flags;
#endif

#endif
