#include "zone.h"

#include "calendar.h"
#include "cursor.h"
#include "table.h"

static int32_t base;

/* The last answer and the instants for which it holds. The search asks in nearly ascending order, so that most
 * questions cost two comparisons instead of two calendar years. */
static struct {
	int16_t from, until;
	int16_t offset;
} span;

/* Beyond all questions, with room to add two offsets. */
#define FAR 24000

void zone_set_base(int32_t minute)
{
	base = minute;
	span.from = 0;
	span.until = 0;
}

static int16_t relative(int32_t minute)
{
	minute -= base;
	if (minute > FAR)
		return FAR;
	return minute < -FAR ? -FAR : (int16_t)minute;
}

/* Narrows the span to the side of a boundary on which the instant lies. */
static void narrow(int16_t utc, int16_t boundary)
{
	if (boundary <= utc) {
		if (boundary > span.from)
			span.from = boundary;
	} else if (boundary < span.until) {
		span.until = boundary;
	}
}

/* Whether the instant is in [start, end); narrows the span to the answer. */
static bool within(int16_t utc, int16_t start, int16_t end)
{
	narrow(utc, start);
	narrow(utc, end);
	return start <= utc && utc < end;
}

/* Reads the spans of one group; true if one of them holds the instant. */
static bool group_holds(int16_t utc, uint8_t unit)
{
	uint32_t end = 0;

	for (uint32_t n = cursor_number(); n > 0; n--) {
		uint32_t start = end + cursor_number();
		end = start + cursor_number();
		if (within(utc, relative((int32_t)(start * unit)), relative((int32_t)(end * unit))))
			return true;
	}
	return false;
}

static bool overridden(int16_t utc)
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

/* 1 January of a year, by standard time. */
static int16_t new_year(uint8_t year)
{
	return relative(((int32_t)year_start(year) - EPOCH_DAYS) * MINUTES_PER_DAY - table.standard);
}

static void yearly(int16_t utc)
{
	date_t d;
	int32_t start, end;

	date_set(&d, (uint16_t)(floor_days(base + utc + table.standard) + EPOCH_DAYS));
	start = transition_minute(&table.dst_start, d.year) - table.standard;
	end = transition_minute(&table.dst_end, d.year) - table.standard - table.shift;
	within(utc, new_year(d.year), new_year(d.year + 1));
	if (start < end ? within(utc, relative(start), relative(end)) : !within(utc, relative(end), relative(start)))
		span.offset += table.shift;
}

/* The offset at an instant. */
static int16_t zone_offset(int16_t utc)
{
	if (span.from <= utc && utc < span.until)
		return span.offset;
	span.from = -FAR;
	span.until = FAR;
	if (overridden(utc))
		return span.offset;
	span.offset = table.standard;
	if (table.shift != 0)
		yearly(utc);
	return span.offset;
}

/* The offset that nominal time would have if read with a trial offset. */
static int16_t offset_read_with(int16_t nominal, int16_t trial, piece_t *p)
{
	int16_t offset = zone_offset(nominal - trial);

	if (span.until + trial < p->until)
		p->until = span.until + trial;
	return offset;
}

void zone_piece(int16_t nominal, piece_t *p)
{
	int16_t before, after;

	p->until = FAR;
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
