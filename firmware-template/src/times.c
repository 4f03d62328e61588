#include "times.h"

#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "rules.h"
#include "table.h"

part_t part;

/* Reads a time of day. */
OUTLINED static uint16_t time_read(void)
{
	uint16_t minute = (uint16_t)cursor_number();

	if (minute < TIME_QUARTERS)
		return 15u * (uint8_t)minute;
	return minute - TIME_QUARTERS;
}

/* The first hour at or after a given one that is not in a mask. */
static uint8_t hour_from(uint32_t left_out, uint8_t hour)
{
	while (mask_has(left_out, hour))
		hour++;
	return hour;
}

static uint16_t cycle_from(uint16_t from)
{
	uint32_t period = (cursor_number() & TABLE_MAX_NUMBER) + 1;
	uint32_t shift = cursor_number();
	uint32_t left_out = cursor_number();

	for (;;) {
		uint32_t wait = period - 1 - (minute_of(part.day, (int16_t)from) + shift) % period;
		uint8_t hour, free;
		if (wait >= MINUTES_PER_DAY)
			return NO_TIME;
		from += (uint16_t)wait;
		hour = (uint8_t)(from / 60);
		free = hour_from(left_out, hour);
		if (free == hour)
			return from;
		from = 60u * free;
	}
}

/* Times of day, each the distance from the one before; of a grid, within the hour. */
static uint16_t list_from(uint8_t form, uint16_t from)
{
	uint32_t left_out = 0;
	uint16_t step = 0, minute = 0, found = NO_TIME, count = form + 1;
	uint8_t hour = 0, past = 0;

	if (form == FORM_GRID) {
		hour = (uint8_t)(from / 60);
		past = (uint8_t)(from % 60);
		left_out = cursor_number();
	}
	if (form >= FORM_LIST)
		count = cursor_number() & 0x7FF;
	if (form == FORM_STEPS) {
		step = time_read();
		minute = time_read() - step;
	}
	for (; count > 0; count--) {
		uint16_t first;
		minute += step ? step : time_read();
		first = 60u * hour_from(left_out, hour + (minute < past)) + minute;
		if (first >= from && first < found)
			found = first;
	}
	return found;
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
	return list_from(form, from);
}
