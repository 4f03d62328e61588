#include "cpu_clock.h"

#include "board.h" /* first: it says F_CPU */
#include "outlined.h"

#if !CPU_MEASURED
void cpu_clock_measure(void) {}

OUTLINED uint16_t cpu_counts(uint16_t us)
{
	return us * (uint16_t)(F_CPU / 8000000UL);
}
#else

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdbool.h>

#include "clock.h"
#include "power.h"

/* Timer1 counts at a 256th of the CPU's clock here, and wraps after two seconds. */
#define NOMINAL ((uint16_t)(F_CPU / 256)) /* in a second */
#define FRESH_TICKS (3600 / TICK_SECONDS)
#define SAME_MV 200 /* an oscillator inside the chip changes by one or two per cent for a volt */

static uint16_t second = NOMINAL; /* counts in a second of the clock chip */
static uint16_t measured_at;      /* ticks */
static uint16_t measured_mv;      /* supply then; 0: not yet */

static void sleep_until(uint16_t count)
{
	power_tick();
	OCR1A = count;
	for (;;) {
		cli();
		if ((int16_t)(count - TCNT1) <= 0)
			break;
		sei(); /* the instruction after it always runs, so no compare match is lost */
		sleep_cpu();
	}
	sei();
}

/* Looks at the clock chip until its seconds change, asleep for so many counts between two looks. False if it does not tell, or they do
 * not change within a second and a fifth. */
static bool second_begins(uint16_t step, uint16_t *at)
{
	uint8_t was, is;
	uint16_t start = TCNT1;

	if (!clock_seconds(&was))
		return false;
	do {
		sleep_until(TCNT1 + step);
		if (!clock_seconds(&is))
			return false;
		*at = TCNT1;
		if (is != was)
			return true;
	} while ((uint16_t)(*at - start) < NOMINAL + NOMINAL / 5);
	return false;
}

/* Each second is expected by what the one before has told, and looked for in smaller steps: the last two to half a millisecond. */
static bool measure(uint16_t *counts)
{
	uint16_t a, b, c, d;

	if (!second_begins(NOMINAL / 64, &a))
		return false;
	sleep_until(a + NOMINAL / 8 * 7); /* a tenth too slow, and a step */
	if (!second_begins(NOMINAL / 256, &b))
		return false;
	sleep_until(b + (b - a) - NOMINAL / 32);
	if (!second_begins(0, &c))
		return false;
	sleep_until(c + (c - b) - NOMINAL / 100);
	if (!second_begins(0, &d))
		return false;
	*counts = d - c;
	return true;
}

void cpu_clock_measure(void)
{
	uint16_t mv = power_supply();
	uint16_t counts;

	if ((uint16_t)(power_ticks - measured_at) < FRESH_TICKS && (uint16_t)(mv + SAME_MV - measured_mv) <= 2 * SAME_MV)
		return;
	power_sleep_mode(true);
	TCCR1A = 0;
	TCCR1B = 1 << CS12;
	TIMSK1 = 1 << OCIE1A;
	/* Twice what the data sheet allows (29.4) is not the oscillator. */
	if (measure(&counts) && counts > NOMINAL / 5 * 4 && counts < NOMINAL / 5 * 6) {
		second = counts;
		measured_at = power_ticks;
		measured_mv = mv;
	}
	TIMSK1 = 0;
	TCCR1B = 0;
}

OUTLINED uint16_t cpu_counts(uint16_t us)
{
	return (uint16_t)((uint32_t)us * second / (F_CPU / 256)) * (uint16_t)(F_CPU / 8000000UL);
}
#endif
