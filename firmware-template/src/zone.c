#include "zone.h"

#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "table.h"

piece_t piece;

/* The instant that is asked for, in minutes of UTC since 1998, and the last answer with the instants for which it holds. Days go by
 * from one change of the offset to the next, so that nearly all questions cost a few comparisons. */
static struct {
	uint32_t utc;
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

/* The same for a minute of a day, in local time of some offset. */
OUTLINED static bool day_passed(uint16_t day, int16_t minute, int16_t offset)
{
	return passed((uint32_t)day * MINUTES_PER_DAY + minute - offset);
}

OUTLINED static bool overridden(void)
{
	uint8_t unit;

	cursor_at = table.overrides_at;
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

/* Reads a transition; whether the instant is at or after that of a year, which ends an offset. */
static bool transition_passed(uint16_t year_start, int16_t offset)
{
	uint16_t low = cursor_u16();
	/* 14 bits, two's complement */
	int16_t minutes = (int8_t)cursor_u8() * 64 + (low >> 8 >> 2);
	uint8_t week = (low >> 4 & 7) - 1, into;

	date_to_month(year_start, (low & 0xF) - 1);
	date_to(date.month_start);
	into = (uint8_t)((low >> 7 & 7) + 7 - date.wday) % 7 + 7 * week;
	if (into >= date.month_length)
		into -= 7;
	return day_passed(date.day + into, minutes, offset);
}

/* Finds the offset at the instant. */
static void find(void)
{
	uint16_t year_start;
	bool summer, ended;

	span.from = 0;
	span.until = UINT32_MAX;
	if (table.overrides_at && overridden())
		return;
	span.offset = table.standard;
	if (table.dst_at == 0)
		return;
	date_to((uint16_t)((span.utc + table.standard) / MINUTES_PER_DAY));
	year_start = date.year_start;
	day_passed(year_start, 0, table.standard);
	day_passed(year_start + date.year_length, 0, table.standard);
	cursor_at = table.dst_at;
	summer = transition_passed(year_start, table.standard);
	ended = transition_passed(year_start, table.standard + table.shift);
	if (summer == ended)
		summer = table.dst_south;
	if (summer)
		span.offset += table.shift;
}

/* The offset that nominal time would have if read with a trial offset; narrows the piece to that answer. */
static int16_t offset_read_with(uint32_t nominal, int16_t trial)
{
	uint32_t left;

	span.utc = nominal - trial;
	if (span.utc < span.from || span.utc >= span.until)
		find();
	left = span.until - span.utc;
	if (left < piece.left)
		piece.left = (uint16_t)left;
	return span.offset;
}

OUTLINED void zone_piece(uint16_t day, uint16_t from)
{
	uint32_t nominal = (uint32_t)day * MINUTES_PER_DAY + from;
	int16_t before, after;

	piece.left = MINUTES_PER_DAY - from;
	piece.gap = false;
	before = offset_read_with(nominal, table.offset_max);
	after = offset_read_with(nominal, table.offset_min);
	piece.offset = before;
	if (before == after || offset_read_with(nominal, before) == before)
		return;
	piece.offset = after;
	if (offset_read_with(nominal, after) == after)
		return;
	piece.offset = before;
	piece.gap = true;
}
