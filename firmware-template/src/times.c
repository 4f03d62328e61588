#include "times.h"

#include "calendar.h"
#include "cursor.h"
#include "table.h"

part_t part;

static void part_head(bool first)
{
	uint8_t head = cursor_u8();

	part.more = head & HEAD_MORE;
	part.form = head >> HEAD_FORM_SHIFT & HEAD_FORM_MASK;
	part.rule = head & HEAD_RULE_MASK;
	if (first)
		part.presets = 0;
	if (head & HEAD_PRESETS)
		part.presets = cursor_u8();
	if (first)
		part.units = cursor_number();
	if (part.rule == HEAD_RULE_ESCAPE)
		part.rule = (uint8_t)cursor_number();
	if (part.rule > table.rules)
		cursor_bad = true;
}

void part_first(void)
{
	part_head(true);
}

bool part_next(void)
{
	if (!part.more)
		return false;
	part_head(false);
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
	uint16_t step = cursor_small();
	uint16_t count = cursor_small();

	if (from <= first)
		return first;
	if (step == 0) {
		cursor_bad = true;
		return NO_TIME;
	}
	from = (uint16_t)(from - first + step - 1) / step;
	return from < count ? first + from * step : NO_TIME;
}

static uint8_t hours[3]; /* mask */

/* Reads a mask of hours, or sets that of all. */
static void hours_read(bool restricted)
{
	for (uint8_t i = 0; i < 3; i++)
		hours[i] = restricted ? cursor_u8() : 0xFF;
}

/* The first hour of the mask at or after a given one; 24 or more if there is none. */
static uint8_t hour_from(uint8_t hour)
{
	while (hour < 24 && !(hours[hour >> 3] >> (hour & 7) & 1))
		hour++;
	return hour;
}

static uint16_t grid_from(uint16_t from)
{
	uint8_t hour = (uint8_t)(from / 60);
	uint8_t minute = (uint8_t)(from % 60);
	uint8_t count, first, next; /* the grid's first minute, and its first at or after minute */

	hours_read(true);
	count = cursor_u8();
	first = next = cursor_u8();
	while (--count > 0) {
		uint8_t m = cursor_u8();
		if (next < minute)
			next = m;
	}
	if (next < minute || hour_from(hour) != hour) {
		hour = hour_from(hour + 1);
		next = first;
	}
	return hour < 24 ? 60u * hour + next : NO_TIME;
}

static uint16_t cycle_from(int32_t midnight, uint16_t from)
{
	uint32_t period = cursor_number();
	uint32_t phase = cursor_number();
	uint32_t past;

	hours_read(cursor_u8());
	if (phase >= period) {
		cursor_bad = true;
		return NO_TIME;
	}
	while (from < MINUTES_PER_DAY) {
		/* Lifted by one period so that the difference stays positive. */
		past = ((uint32_t)midnight + from + period - phase) % period;
		if (past)
			past = period - past; /* to wait */
		if (past >= MINUTES_PER_DAY)
			break;
		from += (uint16_t)past;
		if (hour_from((uint8_t)(from / 60)) == from / 60)
			return from < MINUTES_PER_DAY ? from : NO_TIME;
		from = 60 * hour_from((uint8_t)(from / 60));
	}
	return NO_TIME;
}

uint16_t times_from(int32_t midnight, uint16_t from)
{
	switch (part.form) {
	case FORM_STEPS:
		return steps_from(from);
	case FORM_GRID:
		return grid_from(from);
	case FORM_CYCLE:
		return cycle_from(midnight, from);
	case FORM_LIST:
		return list_from(cursor_u8(), from);
	default:
		return list_from(part.form + 1, from);
	}
}
