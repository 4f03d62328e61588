#include "zone.h"

#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "table.h"

#include <string.h>

static int32_t base;
static uint16_t base_day; /* the same, since 1998-01-01 */

/* The last answers and the instants for which they hold: one for the earlier of the two instants that a nominal time may
 * mean, one for the later. Each moves on in ascending order, so that most questions cost a few comparisons instead of two
 * calendar years. */
static struct span {
	int16_t from, until;
	int16_t offset;
} span, spans[2];

/* Beyond all questions, with room for a transition's minutes and two offsets. */
#define FAR_DAYS 15
#define FAR (FAR_DAYS * MINUTES_PER_DAY)

void zone_set_base(uint16_t day)
{
	base_day = day;
	base = ((int32_t)day - EPOCH_DAYS) * MINUTES_PER_DAY;
	memset(spans, 0, sizeof spans); /* they hold for no instant */
}

OUTLINED static int16_t relative(int32_t minute)
{
	minute -= base;
	if (minute > FAR)
		return FAR;
	return minute < -FAR ? -FAR : (int16_t)minute;
}

/* The midnight that begins a day since 1998. */
OUTLINED static int16_t midnight_of(uint16_t day)
{
	int16_t days = (int16_t)(day - base_day);

	if (days > FAR_DAYS)
		days = FAR_DAYS;
	if (days < -FAR_DAYS)
		days = -FAR_DAYS;
	return days * MINUTES_PER_DAY;
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

/* Reads the spans of one group; true if one of them holds the instant. They ascend, so in the last group none after the
 * instant need be read. */
static bool group_holds(int16_t utc, uint8_t unit, bool last)
{
	uint32_t end = 0;

	for (uint16_t n = cursor_small(); n > 0; n--) {
		uint32_t start = end + cursor_number();
		int16_t from = relative((int32_t)(start * unit));
		if (last && from > utc) {
			narrow(utc, from);
			return false;
		}
		end = start + cursor_number();
		if (within(utc, from, relative((int32_t)(end * unit))))
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
	for (uint16_t groups = cursor_small(); groups > 0; groups--) {
		span.offset = 15 * (int8_t)cursor_u8();
		if (group_holds(utc, unit, groups == 1))
			return true;
	}
	return false;
}

/* The date of a transition in the year of a date, and in the end its nominal minute. */
static int16_t transition_minute(uint8_t year, uint16_t *day)
{
	uint32_t packed = cursor_u24();
	uint8_t month = (packed & 0xF) - 1;
	uint8_t week = (packed >> 4 & 7) - 1;
	uint8_t weekday = packed >> 7 & 7;
	/* 14 bits, two's complement */
	int16_t minutes = (int16_t)((uint16_t)(packed >> 8) & 0xFFFC) >> 2;
	uint16_t first = year_start(year);
	uint8_t into;

	for (uint8_t m = 0; m < month; m++)
		first += month_length(year, m);
	into = (uint8_t)(weekday + 7 - weekday_of(first)) % 7 + 7 * week;
	if (into >= month_length(year, month))
		into -= 7;
	*day = first + into;
	return midnight_of(*day) + minutes;
}

static void yearly(int16_t utc)
{
	date_t d;
	uint16_t start_day, end_day;
	int16_t start, end;

	/* The answer is kept for a day at most, so that it stays within the year. Ten days are added so that the division
	 * is one of positive numbers. */
	date_set(&d, base_day + (uint16_t)(utc + table.standard + 10 * MINUTES_PER_DAY) / MINUTES_PER_DAY - 10);
	start = midnight_of(d.day) - table.standard;
	within(utc, start, start + MINUTES_PER_DAY);
	cursor_at = table.dst_at;
	start = transition_minute(d.year, &start_day) - table.standard;
	end = transition_minute(d.year, &end_day) - table.standard - table.shift;
	/* The two are weeks apart, so their dates tell their order. */
	if (start_day < end_day ? within(utc, start, end) : !within(utc, end, start))
		span.offset += table.shift;
}

/* Finds the offset at an instant. */
static void find(int16_t utc)
{
	span.from = -FAR;
	span.until = FAR;
	if (overridden(utc))
		return;
	span.offset = table.standard;
	if (table.dst_at)
		yearly(utc);
}

/* The offset that nominal time would have if read with a trial offset; keep says which of the answers to replace. */
static int16_t offset_read_with(int16_t nominal, int16_t trial, piece_t *p, uint8_t keep)
{
	int16_t utc = nominal - trial;

	for (uint8_t i = 0;; i++) {
		if (i == 2) {
			find(utc);
			spans[keep] = span;
			break;
		}
		span = spans[i];
		if (span.from <= utc && utc < span.until)
			break;
	}
	if (span.until + trial < p->until)
		p->until = span.until + trial;
	return span.offset;
}

void zone_piece(int16_t nominal, piece_t *p)
{
	int16_t before, after;

	p->until = FAR;
	p->gap = false;
	before = offset_read_with(nominal, table.offset_max, p, 0);
	after = offset_read_with(nominal, table.offset_min, p, 1);
	p->offset = before;
	if (before == after || offset_read_with(nominal, before, p, 0) == before)
		return;
	if (offset_read_with(nominal, after, p, 1) == after)
		p->offset = after;
	else
		p->gap = true;
}
