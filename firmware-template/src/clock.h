/* The DS3231-type clock on the two-wire bus. In and out: seconds of UTC since 2000-01-01T00:00:00. Registers: the TWI
 * unit, and the pin that its interrupt pulls low. Facts: DS3231 data sheet 19-5170 Rev 10. */
#ifndef CLOCK_H
#define CLOCK_H

#include <stdbool.h>
#include <stdint.h>

/* What clock_read answers. */
#define CLOCK_GOOD 0
#define CLOCK_STOPPED 1 /* the oscillator-stop flag is set, or no valid date */
#define CLOCK_SILENT 2  /* no answer */

/* Frees the bus and sets up the chip: interrupts on alarm, also on battery; 32 kHz output off. */
void clock_init(void);
/* An instant of UTC. */
typedef struct {
	uint32_t seconds; /* since 2000-01-01T00:00:00 */
	int32_t minute;   /* the same in whole minutes */
} instant_t;

/* Reads the time into `clock_now`, which is left alone unless the answer is CLOCK_GOOD. */
uint8_t clock_read(void);
extern instant_t clock_now;
extern uint16_t clock_day; /* its date, days since 2000-01-01; 0: to be read anew, as after midnight and clock_release */
/* The chip's seconds as it holds them; false if it does not answer. */
bool clock_seconds(uint8_t *bcd);
/* Sets the time, then clears the oscillator-stop flag; false unless it reads back. */
bool clock_set(uint32_t seconds);
/* Sets alarm 1 to a minute of UTC within the next 27 days and alarm 2 to its daily match; false unless they read back. */
bool clock_arm(const int32_t *minute);
/* Clears the alarm flags that are set, and so releases the interrupt line. */
void clock_release(void);
/* The interrupt line is low. */
bool clock_alarmed(void);
/* Reads and writes the ageing offset. */
bool clock_ageing_read(int8_t *value);
bool clock_ageing_write(int8_t value);

/* For a test on the bench. Makes alarm 1 ring every second, until clock_arm; false if the chip does not answer. */
bool clock_ring(void);
/* What the wires of the bus do: CLOCK_WIRE_... */
uint8_t clock_wires(void);
#define CLOCK_WIRE_SDA_PULLED 0x01 /* it rises without a pull-up of the chip's */
#define CLOCK_WIRE_SCL_PULLED 0x02
#define CLOCK_WIRE_SDA_FREE 0x04   /* it rises with one */
#define CLOCK_WIRE_SCL_FREE 0x08
#define CLOCK_WIRE_CROSSED 0x10    /* the clock chip answers with the two exchanged */
#define CLOCK_WIRE_TWELVE 0x20     /* it counts in twelve hours */

#endif
