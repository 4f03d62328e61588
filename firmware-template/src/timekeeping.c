#include "timekeeping.h"

#include "clock.h"
#include "feeder.h"
#include "history.h"
#include "journal.h"
#include "outlined.h"
#include "power.h"

#define DAY_SECONDS 86400UL
#define RESET_SECONDS 1800 /* by which the time may be behind after a reset: the last look, up to 17 minutes ago, and an install */
#define CLOCK_FAULTS (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT)

/* Whether the clock chip's time agrees with the watchdog's, which may be far off and counts in steps of 8 s. */
static bool plausible(void)
{
	uint32_t latest = clock_now.seconds + feeder.tolerance;

	return feeder.after_reset ? latest >= feeder.now.seconds : latest - feeder.now.seconds <= 2 * feeder.tolerance;
}

void time_from_clock(void)
{
	feeder.now = clock_now;
	feeder.tolerance = 8 * TICK_SECONDS;
	feeder.after_reset = false;
	feeder.faults &= (uint16_t)~CLOCK_FAULTS;
}

void time_raise(uint16_t fault)
{
	bool known = feeder.faults & CLOCK_FAULTS;

	feeder.faults |= fault;
	if (!known)
		history_add_once(&feeder.now.minute, EVENT_CLOCK_LOST, fault);
}

/* Moves the time on by what the watchdog has counted: 1,048,576 cycles of 128 kHz are 8.192 s, eight seconds and 12,583 of
 * 65,536 parts to a fifth of a millionth. */
static void count_ticks(void)
{
	uint16_t ticks = power_ticks - feeder.ticks_seen;
	uint32_t parts = (uint32_t)ticks * 12583u + feeder.tick_parts;
	uint16_t passed = TICK_SECONDS * ticks + (uint16_t)(parts >> 16);

	feeder.ticks_seen += ticks;
	feeder.tick_parts = (uint16_t)parts;
	feeder.tolerance += passed / 2;
	feeder.now.seconds += passed;
}

void feeder_time(void)
{
	uint8_t answer = clock_read();

	count_ticks();
	if (answer == CLOCK_GOOD && plausible()) {
		time_from_clock();
		return;
	}
	clock_day = 0;
	/* Without the clock, time goes on from the last good reading. */
	feeder.now.minute = (int32_t)(feeder.now.seconds / 60);
	time_raise(answer == CLOCK_SILENT ? FAULT_CLOCK_SILENT : FAULT_CLOCK_LOST);
}

OUTLINED bool time_known(void)
{
	return journal.cursor != CURSOR_NONE;
}

OUTLINED int32_t minutes_since(const int32_t *minute)
{
	return feeder.now.minute - *minute;
}

void time_restart(void)
{
	feeder.faults = 0;
	feeder.ticks_seen = 0;
	feeder.next_due = 0;
	feeder.after_reset = false;
	if (!power_was_lost() && feeder.survived == SURVIVED) {
		if (feeder.tolerance < RESET_SECONDS)
			feeder.tolerance = RESET_SECONDS;
		return;
	}
	feeder.survived = SURVIVED;
	feeder.after_reset = true;
	/* The cursor may be ahead where time went on from the watchdog, but not by days. */
	feeder.tolerance = DAY_SECONDS;
	feeder.now.seconds = time_known() ? (uint32_t)journal.cursor * 60 : 0;
}
