#include "sensors.h"

#include <avr/io.h>

#include "board.h"
#include "power.h"

#define INDEX_CLOSED AT_LEVEL(INDEX, INDEX_HIGH)
#define BARRIER_BROKEN AT_LEVEL(BARRIER, BARRIER_HIGH)
#define SETTLE_MS 2 /* the pull-ups charge the wires */

sensors_t sensors;

#if INDEX_SWITCH
static bool seen_closed; /* in this period */

static void index_look(void)
{
	if (!INDEX_CLOSED)
		return;
	seen_closed = true;
	if (sensors.index_closed)
		return;
	sensors.index_closed = sensors.index_changed = true;
	if (sensors.backwards)
		return;
	if (sensors.owed > 0)
		sensors.owed--;
	else
		sensors.index_reached = true;
}

static void index_period(void)
{
	if (sensors.index_closed && !seen_closed) {
		sensors.index_closed = false;
		sensors.index_changed = true;
		if (sensors.backwards)
			sensors.owed++;
	}
	seen_closed = false;
}
#endif

#if LIGHT_BARRIER
static bool broken; /* anew, in the time of this pocket */

static void barrier_look(void)
{
	bool dark = BARRIER_BROKEN;

	if (dark && !sensors.dark)
		broken = true;
	sensors.dark = dark;
}
#endif

void sensors_on(void)
{
#if INDEX_SWITCH
	INDEX_PORT |= 1 << INDEX_BIT;
	INDEX_PCMSK |= 1 << INDEX_BIT;
#endif
#if LIGHT_BARRIER
	BARRIER_PORT |= 1 << BARRIER_BIT;
	BARRIER_PCMSK |= 1 << BARRIER_BIT;
#endif
#if INDEX_SWITCH || LIGHT_BARRIER
	power_wait_ms(SETTLE_MS);
#endif
#if INDEX_SWITCH
	sensors.index_closed = seen_closed = INDEX_CLOSED;
	sensors.backwards = false;
#endif
#if LIGHT_BARRIER
	sensors.dark = BARRIER_BROKEN;
	sensors.fell = 0;
	broken = false;
#endif
}

void sensors_off(void)
{
#if INDEX_SWITCH
	INDEX_PCMSK &= (uint8_t)~(1 << INDEX_BIT);
	INDEX_PORT &= (uint8_t)~(1 << INDEX_BIT);
#endif
#if LIGHT_BARRIER
	BARRIER_PCMSK &= (uint8_t)~(1 << BARRIER_BIT);
	BARRIER_PORT &= (uint8_t)~(1 << BARRIER_BIT);
#endif
}

void sensors_period(void)
{
#if INDEX_SWITCH
	index_period();
#endif
}

void sensors_look(void)
{
#if INDEX_SWITCH
	index_look();
#endif
#if LIGHT_BARRIER
	barrier_look();
#endif
}

void sensors_next_pocket(void)
{
#if LIGHT_BARRIER
	if (broken)
		sensors.fell++;
	broken = false;
#endif
}
