#include "times.h"

#include "calendar.h"
#include "cursor.h"
#include "table.h"

uint8_t part_preset;

static void part_head(part_t *p, uint8_t head)
{
	p->more = head & HEAD_MORE;
	p->form = head >> HEAD_FORM_SHIFT & HEAD_FORM_MASK;
	p->rule = head & HEAD_RULE_MASK;
}

static void part_rule(part_t *p)
{
	if (p->rule == HEAD_RULE_ESCAPE)
		p->rule = (uint8_t)cursor_number();
}

void part_first(part_t *p)
{
	uint8_t head = cursor_u8();

	part_head(p, head);
	p->in_preset = true;
	if (head & HEAD_PRESETS) {
		uint8_t presets = cursor_u8();
		p->in_preset = part_preset == ALL_PRESETS || (presets >> part_preset & 1);
	}
	p->units = cursor_number();
	part_rule(p);
}

bool part_next(part_t *p)
{
	if (!p->more)
		return false;
	part_head(p, cursor_u8());
	part_rule(p);
	return true;
}

/* A quarter hour in one byte, any minute in two. */
static uint16_t time_read(void)
{
	uint8_t byte = cursor_u8();

	if (byte < TIME_LONG)
		return 15u * byte;
	return (uint16_t)(byte & ~TIME_LONG) << 8 | cursor_u8();
}

static uint16_t list_from(uint8_t count, uint16_t from)
{
	uint16_t found = NO_TIME;

	for (; count > 0; count--) {
		uint16_t minute = time_read();
		if (minute >= from && found == NO_TIME)
			found = minute;
	}
	return found;
}

static uint16_t steps_from(uint16_t from)
{
	uint16_t first = time_read();
	uint16_t step = (uint16_t)cursor_number();
	uint16_t count = (uint16_t)cursor_number();
	uint16_t k;

	if (from <= first)
		return first;
	k = (from - first + step - 1) / step;
	return k < count ? first + k * step : NO_TIME;
}

/* The first hour of the mask at or after a given one; 24 if there is none. */
static uint8_t hour_from(uint32_t hours, uint8_t hour)
{
	while (hour < 24 && !(hours >> hour & 1))
		hour++;
	return hour;
}

static uint16_t grid_from(uint16_t from)
{
	uint32_t hours = cursor_u24();
	uint8_t count = cursor_u8();
	uint8_t first = cursor_u8();
	uint8_t hour = (uint8_t)(from / 60);
	uint8_t minute = (uint8_t)(from % 60);
	uint8_t next = first; /* of the grid's minutes, at or after minute */

	while (--count > 0) {
		uint8_t m = cursor_u8();
		if (next < minute)
			next = m;
	}
	if (next >= minute && hour_from(hours, hour) == hour)
		return 60u * hour + next;
	hour = hour_from(hours, hour + 1);
	return hour < 24 ? 60u * hour + first : NO_TIME;
}

static uint16_t cycle_from(int32_t midnight, uint16_t from)
{
	uint32_t period = cursor_number();
	uint32_t phase = cursor_number();
	uint32_t hours = cursor_u8() ? cursor_u24() : TABLE_ALL_HOURS;

	while (from < MINUTES_PER_DAY) {
		/* Lifted by one period so that the difference stays positive: phase < period. */
		uint32_t past = ((uint32_t)midnight + from + period - phase) % period;
		uint32_t minute = past ? from + period - past : from;
		if (minute >= MINUTES_PER_DAY)
			break;
		if (hours >> (minute / 60) & 1)
			return (uint16_t)minute;
		from = 60 * hour_from(hours, (uint8_t)(minute / 60));
	}
	return NO_TIME;
}

uint16_t times_from(uint8_t form, int32_t midnight, uint16_t from)
{
	switch (form) {
	case FORM_STEPS:
		return steps_from(from);
	case FORM_GRID:
		return grid_from(from);
	case FORM_CYCLE:
		return cycle_from(midnight, from);
	case FORM_LIST:
		return list_from(cursor_u8(), from);
	default:
		return list_from(form + 1, from);
	}
}

/* A time of day that is legal and as short as it can be, or NO_TIME. */
static uint16_t time_check(void)
{
	uint8_t byte = cursor_u8();
	uint16_t minute;

	if (byte < TIME_LONG)
		return byte < TIME_QUARTERS ? 15u * byte : NO_TIME;
	minute = (uint16_t)(byte & ~TIME_LONG) << 8 | cursor_u8();
	return minute % 15 != 0 && minute < MINUTES_PER_DAY ? minute : NO_TIME;
}

static bool list_check(uint8_t count)
{
	uint16_t last = 0;
	bool good = count > 0;

	for (uint8_t i = 0; i < count; i++) {
		uint16_t minute = time_check();
		if (minute == NO_TIME || (i > 0 && minute <= last))
			good = false;
		last = minute;
	}
	return good;
}

static bool steps_check(void)
{
	uint16_t first = time_check();
	uint32_t step = cursor_number();
	uint32_t count = cursor_number();

	if (first == NO_TIME || step == 0 || count == 0 || count > MINUTES_PER_DAY || step >= MINUTES_PER_DAY)
		return false;
	return first + (count - 1) * step < MINUTES_PER_DAY;
}

static bool grid_check(void)
{
	bool good = cursor_u24() != 0;
	uint8_t count = cursor_u8();
	int8_t last = -1;

	good &= count > 0;
	for (; count > 0; count--) {
		uint8_t minute = cursor_u8();
		if (minute > 59 || (int8_t)minute <= last)
			return false;
		last = (int8_t)minute;
	}
	return good;
}

static bool cycle_check(void)
{
	uint32_t period = cursor_number();
	uint32_t phase = cursor_number();
	uint8_t restricted = cursor_u8();
	bool good = restricted <= 1 && phase < period; /* so period is at least 1 */

	if (restricted == 1)
		good &= cursor_u24() != 0;
	return good;
}

bool times_check(uint8_t form)
{
	switch (form) {
	case FORM_STEPS:
		return steps_check();
	case FORM_GRID:
		return grid_check();
	case FORM_CYCLE:
		return cycle_check();
	case FORM_LIST:
		return list_check(cursor_u8());
	default:
		return list_check(form + 1);
	}
}
