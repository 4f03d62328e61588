#include "zone.h"

#include "bytes.h"
#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "table.h"

piece_t piece;

/* Whether the instant is at a boundary or after it; if not, the answer holds no longer than to there. */
OUTLINED static bool passed(uint32_t boundary)
{
	if (boundary <= table.span.utc)
		return true;
	if (boundary < table.span.until)
		table.span.until = boundary;
	return false;
}

static bool overridden(void)
{
	uint8_t unit;

	cursor_to(table.overrides_at);
	unit = cursor_u8() * 15;
	for (uint8_t groups = cursor_u8(); groups > 0; groups--) {
		uint32_t at = 0, distance;
		bool inside = false;
		table.span.offset = cursor_quarters();
		while ((distance = cursor_number()) != 0) {
			at += distance * unit; /* in this order by one 16 times 32 bit multiplication, which others use */
			if (passed(at))
				inside = !inside;
			else if (inside)
				return true;
		}
	}
	return false;
}

/* Reads a transition; whether the instant is at or after that of the year in hand. The offset before it is the standard one and
 * a shift. */
static bool transition_passed(int16_t shift)
{
	uint8_t place = cursor_u8();
	uint16_t time = cursor_u16();
	uint8_t into;

	date_to_month(date.of_year.start, place >> 4);
	into = (uint8_t)(((time & 7) + 7u - date.wday + date.day - date.of_month.start) % 7) + 7 * (place & 7);
	if (into >= date.of_month.length)
		into -= 7;
	return passed(minute_of(date.of_month.start + into, ((int16_t)time >> 3) - table.standard - shift));
}

/* Finds the offset at the instant. */
static void find_offset(void)
{
	bool summer, ended;

	date_to((uint16_t)((table.span.utc + table.standard) / MINUTES_PER_DAY));
	bytes_copy4(&table.span.from, &table.span.utc);
	table.span.until = minute_of(date.of_year.start + date.of_year.length, -table.standard);
	if (table.overrides_at && overridden())
		return;
	table.span.offset = table.standard;
	if (table.dst_at == 0)
		return;
	cursor_to(table.dst_at);
	summer = transition_passed(0);
	ended = transition_passed(table.shift);
	if (summer == ended)
		summer = table.dst_south;
	if (summer)
		table.span.offset += table.shift;
}

/* The offset that nominal time would have if read with a trial offset; narrows the piece to that answer. */
static int16_t offset_read_with(int16_t trial)
{
	uint32_t left;

	table.span.utc = table.span.nominal - trial;
	if (table.span.utc < table.span.from || table.span.utc >= table.span.until)
		find_offset();
	left = table.span.until - table.span.utc;
	if (left < piece.left)
		piece.left = (uint16_t)left;
	return table.span.offset;
}

void zone_piece(uint16_t day, uint16_t from)
{
	int16_t before, after;

	table.span.nominal = minute_of(day, (int16_t)from);
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
