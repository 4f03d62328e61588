#include "limits.h"

#include "board.h"
#include "calendar.h"
#include "feeder.h"
#include "journal.h"
#include "table.h"

#define MINUTES_PER_HOUR 60

/* In journal.presses: servings since an hour without one, and in the window of a day. */
#define HOUR_COUNT 0x0F
#define DAY_COUNT 0xF0
#define DAY_ONE 0x10

uint16_t limits_time(void)
{
	return (uint16_t)feeder.now.minute - journal.stepped;
}

uint16_t limits_since(uint16_t then)
{
	uint16_t passed = limits_time() - then;

	return passed < 0x8000 ? passed : 0;
}

void limits_age(void)
{
	/* Over the hour, because minutes are whole. */
	if (limits_since(journal.pressed) > MINUTES_PER_HOUR)
		journal.presses &= DAY_COUNT;
	if (limits_since(journal.day) > MINUTES_PER_DAY) {
		journal.presses &= HOUR_COUNT;
		journal.asked = 0;
	}
	if (limits_since(journal.tried) >= FED_MINUTES)
		journal.guard &= (uint8_t)~GUARD_FED;
}

static uint8_t left_of(uint8_t limit, uint8_t count)
{
	return count < limit ? limit - count : 0;
}

uint8_t limits_hour_left(void)
{
	uint8_t limit = table.button_presses & 0x0F;

	if (limit > TABLE_MAX_PER_HOUR)
		limit = TABLE_MAX_PER_HOUR;
	return left_of(limit, journal.presses & HOUR_COUNT);
}

uint8_t limits_day_left(void)
{
	uint8_t limit = table.button_presses >> 4;

	return left_of(limit ? limit : TABLE_DEFAULT_PER_DAY, journal.presses >> 4);
}

bool limits_allow(uint16_t pockets)
{
	return pockets > 0 && pockets <= MAX_ASKED && pockets <= (uint8_t)(MAX_ASKED_DAY - journal.asked) && limits_hour_left() > 0 && limits_day_left() > 0;
}

void limits_count(uint16_t pockets)
{
	uint16_t now = limits_time();

	if (!(journal.presses & DAY_COUNT))
		journal.day = now;
	journal.pressed = now;
	journal.presses += DAY_ONE + 1;
	journal.asked += (uint8_t)pockets;
}

void limits_hopper(uint16_t pockets)
{
	if (COUNT_HOPPER)
		journal.left = journal.left > pockets ? journal.left - pockets : 0;
}

bool limits_refill(void)
{
	return COUNT_HOPPER && journal.holds > 0 && (journal.left <= journal.holds / 8 || journal.left < 2u * journal.last);
}
