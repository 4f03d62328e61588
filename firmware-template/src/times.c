#include "times.h"

#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "rules.h"
#include "table.h"

part_t part;

/* The first time at or after a minute in a list: a quarter hour in one byte, any minute in two. */
INLINED uint16_t list_from(uint8_t count, uint16_t from)
{
	uint16_t found = NO_TIME;

	for (; count > 0; count--) {
		uint8_t byte = cursor_u8();
		uint16_t minute = 15u * byte;
		if (byte & TIME_LONG)
			minute = (uint16_t)(uint8_t)(byte ^ TIME_LONG) << 8 | cursor_u8();
		if (minute >= from && minute < found)
			found = minute;
	}
	return found;
}

static uint16_t steps_from(uint16_t from)
{
	uint16_t first = list_from(1, 0);
	uint16_t step = cursor_small();
	uint16_t count = cursor_small();

	if (step == 0)
		step++; /* so that the loop is as short as the day */
	for (; count > 0; count--) {
		if (first >= from)
			return first;
		first += step;
	}
	return NO_TIME;
}

static uint8_t hours[3]; /* mask */

/* Reads a mask of hours, or sets that of all. */
static void hours_read(uint8_t restricted)
{
	for (uint8_t *to = hours; to < hours + 3; to++)
		*to = restricted ? cursor_u8() : 0xFF;
}

/* The first hour of the mask at or after a given one; 24 or more if there is none. */
static uint8_t hour_from(uint8_t hour)
{
	while (hour < 24 && !(hours[hour >> 3] & bit_of(hour & 7)))
		hour++;
	return hour;
}

static uint16_t grid_from(uint16_t from)
{
	uint8_t hour = (uint8_t)(from / 60);
	uint8_t past = (uint8_t)(from % 60);
	uint16_t found = NO_TIME;

	hours_read(true);
	for (uint8_t left = cursor_u8(); left > 0; left--) {
		uint8_t minute = cursor_u8();
		uint16_t first = 60u * hour_from(minute < past ? hour + 1 : hour) + minute;
		if (first < found)
			found = first;
	}
	return found;
}

static uint16_t cycle_from(uint16_t from)
{
	uint32_t period = cursor_number();
	uint32_t phase = cursor_number();

	hours_read(cursor_u8());
	if (phase >= period) /* so period is not 0 */
		return NO_TIME;
	for (;;) {
		uint32_t wait = phase - minute_of(part.day - EPOCH_DAYS, (int16_t)from) % period;
		uint8_t hour, free;
		if ((int32_t)wait < 0)
			wait += period;
		if (wait >= MINUTES_PER_DAY)
			return NO_TIME;
		from += (uint16_t)wait;
		hour = (uint8_t)(from / 60);
		free = hour_from(hour);
		if (free == hour)
			return from;
		from = 60u * free;
	}
}

void parts_begin(uint16_t day)
{
	part.day = day;
	part.index = 0xFF;
	part.bit = 0;
	part.more = false;
	cursor_to(table.meals_at);
}

OUTLINED bool parts_left(void)
{
	return cursor_at < cursor_end;
}

uint16_t part_read(uint16_t from)
{
	uint8_t head = cursor_u8();
	uint8_t form = head >> HEAD_FORM_SHIFT & HEAD_FORM_MASK;
	bool first = !part.more;

	part.more = head & HEAD_MORE;
	part.rule = head & HEAD_RULE_MASK;
	if (first) {
		part.bit <<= 1;
		if (part.bit == 0) {
			part.bit = 1;
			part.index++;
		}
		part.presets = 0xFF;
	}
	if (head & HEAD_PRESETS)
		part.presets = cursor_u8();
	if (first)
		part.units = cursor_number();
	if (part.rule == HEAD_RULE_ESCAPE)
		part.rule = (uint8_t)cursor_number() & TABLE_MAX_RULES; /* within rule_marks */
	if (form == FORM_CYCLE)
		return cycle_from(from);
	if (form == FORM_GRID)
		return grid_from(from);
	if (form == FORM_STEPS)
		return steps_from(from);
	return list_from(form == FORM_LIST ? cursor_u8() : form + 1, from);
}
