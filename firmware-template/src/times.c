#include "times.h"

#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "rules.h"
#include "table.h"

part_t part;

/* Reads a time of day, or the distance of one from the one before. */
OUTLINED static uint16_t time_read(void)
{
	uint16_t minute = cursor_word(TIME_QUARTERS + MINUTES_PER_DAY - 1);

	if (minute < TIME_QUARTERS)
		return 15u * (uint8_t)minute;
	return minute - TIME_QUARTERS;
}

/* Reads the mask of the hours that are left out; one at least is not. */
INLINED uint32_t hours_read(void)
{
	uint32_t left_out = cursor_number();

	EXPECT(left_out < TABLE_ALL_HOURS);
	return left_out;
}

/* The first hour at or after a given one that is not in a mask. */
static uint8_t hour_from(uint32_t left_out, uint8_t hour)
{
	while (mask_has(left_out, hour))
		hour++;
	return hour;
}

/* How many steps reach so far. */
OUTLINED static uint16_t steps_to(uint16_t distance, uint16_t step)
{
	return (uint16_t)(distance + step - 1) / step;
}

static uint16_t cycle_from(uint16_t from)
{
	uint32_t last = cursor_number() & TABLE_MAX_NUMBER; /* minute of the period */
	uint32_t shift = cursor_number();
	uint32_t left_out = hours_read();
	uint32_t wait;

	EXPECT(last < TABLE_MAX_CYCLE && shift <= last);
	wait = last - (minute_of(part.day, (int16_t)from) + shift) % (last + 1);
	if (wait >= MINUTES_PER_DAY)
		return NO_TIME;
	from += (uint16_t)wait;
	for (;;) {
		uint8_t hour = (uint8_t)(from / 60), free = hour_from(left_out, hour);
		uint16_t period;
		if (free == hour)
			return from;
		if (last >= MINUTES_PER_DAY)
			return NO_TIME;
		period = (uint16_t)last + 1;
		from += steps_to(60u * free - from, period) * period;
	}
}

/* Times of day at equal distances. */
static uint16_t steps_from(uint16_t from)
{
	uint16_t more = cursor_word(MINUTES_PER_DAY) - 1; /* after the first */
	uint16_t step = time_read();
	uint16_t first = time_read();
	uint16_t skip;

	if (step == 0) {
		cursor_fail();
		return NO_TIME;
	}
	EXPECT(more <= (MINUTES_PER_DAY - 1u - first) / step);
	if (from <= first)
		return first;
	skip = steps_to(from - first, step);
	return skip > more ? NO_TIME : first + skip * step;
}

/* Times of day, each the distance from the one before; of a grid, within the hour. */
static uint16_t list_from(uint8_t form, uint16_t from)
{
	uint32_t left_out = 0;
	uint16_t minute = 0, found = NO_TIME, end = MINUTES_PER_DAY;
	uint8_t count = form + 1, least = 0, hour = 0, past = 0;

	if (form == FORM_GRID) {
		hour = (uint8_t)(from / 60);
		past = (uint8_t)(from % 60);
		left_out = hours_read();
		end = 60;
	}
	if (form >= FORM_LIST)
		count = (uint8_t)cursor_word(TABLE_MAX_LIST_TIMES);
	EXPECT(count != 0);
	for (; count > 0; count--) {
		uint16_t step = time_read(), first;
		EXPECT(step >= least);
		least = 1;
		minute += step;
		EXPECT(minute < end);
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
	if (head & HEAD_PRESETS) {
		part.presets = cursor_u8();
		EXPECT(first && (uint8_t)(part.presets - 1) < (uint8_t)(bit_of(table.presets) - 1)); /* of none it is the last bit's carry */
	}
	if (first)
		part.units = cursor_number();
	if (part.rule == HEAD_RULE_ESCAPE) {
		part.rule = (uint8_t)cursor_word(TABLE_MAX_RULES); /* within rule_marks */
		EXPECT(part.rule >= HEAD_RULE_ESCAPE);
	}
	switch (form) {
	case FORM_CYCLE:
		return cycle_from(from);
	case FORM_STEPS:
		return steps_from(from);
	default:
		return list_from(form, from);
	}
}
