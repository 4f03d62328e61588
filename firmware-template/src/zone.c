#include "zone.h"

#include "calendar.h"
#include "cursor.h"
#include "table.h"

/* The last answer and the instants for which it holds. The search asks in nearly ascending order, so that most
 * questions cost three comparisons instead of two calendar years. */
static struct {
	int32_t from, until;
	int16_t offset;
} span;

void zone_reset(void)
{
	span.from = 0;
	span.until = 0;
}

/* Narrows the span to the side of a boundary on which the instant lies. */
static void narrow(int32_t utc, int32_t boundary)
{
	if (boundary <= utc) {
		if (boundary > span.from)
			span.from = boundary;
	} else if (boundary < span.until) {
		span.until = boundary;
	}
}

/* Reads the spans of one group; true if one of them holds the instant. */
static bool group_holds(int32_t utc, uint8_t unit)
{
	int32_t end = 0;

	for (uint32_t n = cursor_number(); n > 0; n--) {
		int32_t start = end + (int32_t)(cursor_number() * unit);
		end = start + (int32_t)(cursor_number() * unit);
		narrow(utc, start);
		narrow(utc, end);
		if (start <= utc && utc < end)
			return true;
	}
	return false;
}

static bool overridden(int32_t utc)
{
	uint8_t unit;

	if (table.overrides_at == 0)
		return false;
	cursor_at = table.overrides_at;
	unit = cursor_u8() * 15;
	for (uint32_t groups = cursor_number(); groups > 0; groups--) {
		span.offset = 15 * (int8_t)cursor_u8();
		if (group_holds(utc, unit))
			return true;
	}
	return false;
}

/* The nominal minute of a transition in a year since 1998. */
static int32_t transition_minute(const transition_t *t, uint8_t year)
{
	uint16_t first = year_start(year);
	uint8_t length = month_length(year, t->month);
	uint8_t day;

	for (uint8_t m = 0; m < t->month; m++)
		first += month_length(year, m);
	day = (t->weekday + 7 - weekday_of(first)) % 7 + 7 * (t->week - 1);
	if (day >= length)
		day -= 7;
	return ((int32_t)first + day - EPOCH_DAYS) * MINUTES_PER_DAY + t->minutes;
}

static void yearly(int32_t utc)
{
	date_t d;
	int32_t start, end;
	bool dst;

	date_set(&d, (uint16_t)(floor_days(utc + table.standard) + EPOCH_DAYS));
	start = transition_minute(&table.dst_start, d.year) - table.standard;
	end = transition_minute(&table.dst_end, d.year) - table.standard - table.shift;
	if (start < end)
		dst = start <= utc && utc < end;
	else
		dst = !(end <= utc && utc < start);
	span.offset = table.standard + (dst ? table.shift : 0);
	narrow(utc, start);
	narrow(utc, end);
	narrow(utc, ((int32_t)year_start(d.year) - EPOCH_DAYS) * MINUTES_PER_DAY - table.standard);
	narrow(utc, ((int32_t)year_start(d.year + 1) - EPOCH_DAYS) * MINUTES_PER_DAY - table.standard);
}

int16_t zone_offset(int32_t utc)
{
	if (span.from <= utc && utc < span.until)
		return span.offset;
	span.from = INT32_MIN;
	span.until = INT32_MAX / 2; /* room to add an offset */
	if (overridden(utc))
		return span.offset;
	if (table.shift != 0)
		yearly(utc);
	else
		span.offset = table.standard;
	return span.offset;
}

/* The offset that nominal time would have if read with a trial offset. */
static int16_t offset_read_with(int32_t nominal, int16_t trial, piece_t *p)
{
	int16_t offset = zone_offset(nominal - trial);

	if (span.until + trial < p->until)
		p->until = span.until + trial;
	return offset;
}

void zone_piece(int32_t nominal, piece_t *p)
{
	int16_t before, after;

	p->until = INT32_MAX / 2;
	p->gap = false;
	before = offset_read_with(nominal, table.offset_max, p);
	after = offset_read_with(nominal, table.offset_min, p);
	p->offset = before;
	if (before == after || offset_read_with(nominal, before, p) == before)
		return;
	if (offset_read_with(nominal, after, p) == after)
		p->offset = after;
	else
		p->gap = true;
}
