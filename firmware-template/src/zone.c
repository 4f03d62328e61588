#include "zone.h"

#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "table.h"

piece_t piece;

/* What is asked, in minutes since 1998, and the last answer with the instants for which it holds. Months go by from one
 * change of the offset to the next, so that nearly all questions cost a few comparisons. */
static struct {
	uint32_t nominal;
	uint32_t utc; /* what it may mean */
	uint32_t from, until; /* both 0: none */
	int16_t offset;
} span;

void zone_forget(void)
{
	span.until = 0;
}

/* Whether the instant is at a boundary or after it; narrows the span to the answer. */
OUTLINED static bool passed(uint32_t boundary)
{
	if (boundary <= span.utc) {
		if (boundary > span.from)
			span.from = boundary;
		return true;
	}
	if (boundary < span.until)
		span.until = boundary;
	return false;
}

/* The instant of the midnight that begins a day, in standard time. */
OUTLINED static uint32_t midnight_of(uint16_t day)
{
	return (uint32_t)day * MINUTES_PER_DAY - table.standard;
}

OUTLINED static bool overridden(void)
{
	uint8_t unit;

	cursor_to(table.overrides_at);
	unit = cursor_u8() * 15;
	for (uint16_t groups = cursor_small(); groups > 0; groups--) {
		uint32_t at = EPOCH_DAYS * (uint32_t)MINUTES_PER_DAY;
		bool inside = false;
		span.offset = 15 * (int8_t)cursor_u8();
		for (uint16_t n = 2 * cursor_small(); n > 0; n--) {
			at += unit * cursor_number();
			if (passed(at))
				inside = !inside;
			else if (inside)
				return true;
			else if (groups == 1) /* they ascend */
				return false;
		}
	}
	return false;
}

/* Reads a transition; whether the instant is at or after that of a year. The offset before it is the standard one and a shift. */
static bool transition_passed(uint16_t year_start, int16_t shift)
{
	uint16_t low = cursor_u16();
	/* 14 bits, two's complement */
	int16_t minutes = (int8_t)cursor_u8() * 64 + (low >> 8 >> 2);
	uint8_t week = (low >> 4 & 7) - 1, into;

	date_to_month(year_start, (low & 0xF) - 1);
	date_to(date.of_month.start);
	into = (uint8_t)((low >> 7 & 7) + 7 - date.wday) % 7 + 7 * week;
	if (into >= date.of_month.length)
		into -= 7;
	return passed(midnight_of(date.day + into) + (minutes - shift));
}

/* Finds the offset at the instant. */
static void find(void)
{
	uint16_t year_start;
	bool summer, ended;

	date_to((uint16_t)((span.utc + table.standard) / MINUTES_PER_DAY));
	year_start = date.of_year.start;
	span.from = midnight_of(year_start);
	span.until = midnight_of(year_start + date.of_year.length);
	if (table.overrides_at && overridden())
		return;
	span.offset = table.standard;
	if (table.dst_at == 0)
		return;
	cursor_to(table.dst_at);
	summer = transition_passed(year_start, 0);
	ended = transition_passed(year_start, table.shift);
	if (summer == ended)
		summer = table.dst_south;
	if (summer)
		span.offset += table.shift;
}

/* The offset that nominal time would have if read with a trial offset; narrows the piece to that answer. */
static int16_t offset_read_with(int16_t trial)
{
	uint32_t left;

	span.utc = span.nominal - trial;
	if (span.utc < span.from || span.utc >= span.until)
		find();
	left = span.until - span.utc;
	if (left < piece.left)
		piece.left = (uint16_t)left;
	return span.offset;
}

OUTLINED void zone_piece(uint16_t day, uint16_t from)
{
	int16_t before, after;

	span.nominal = (uint32_t)day * MINUTES_PER_DAY + from;

	piece.left = MINUTES_PER_DAY - from;
	piece.explicit = 0;
	before = offset_read_with(table.offset_max);
	after = offset_read_with(table.offset_min);
	piece.offset = before;
	if (before == after || offset_read_with(before) == before)
		return;
	piece.offset = after;
	if (offset_read_with(after) == after)
		return;
	piece.offset = before;
	piece.explicit = table.gap_omit; /* the same bit as RULE_EXPLICIT */
}
