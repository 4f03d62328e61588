#include "table.h"

#include "calendar.h"
#include "cursor.h"
#include "rules.h"
#include "times.h"

table_t table;

/* No instant beyond these can be served; they keep sums of minutes and offsets within 32 bits. */
#define FIRST_MINUTE (-3L * MINUTES_PER_DAY)
#define LAST_MINUTE ((TABLE_MAX_DAY + 3L) * MINUTES_PER_DAY)

/* A search in progress. Everything later than best is of no interest. */
static struct {
	int32_t after, best;
	uint8_t preset;
	uint8_t day_bit; /* in rule_marks */
	uint8_t *meals;  /* due at best */
} search;

static void offer(int32_t at, uint8_t meal)
{
	uint8_t bit = (uint8_t)(1 << (meal & 7));

	if (at < search.best) {
		search.best = at;
		for (uint8_t i = 0; i < SERVING_MEALS_BYTES; i++)
			search.meals[i] = 0;
	}
	if (at == search.best)
		search.meals[meal >> 3] |= bit;
}

/* A stretch of one nominal day in which one offset holds. */
typedef struct {
	int32_t midnight;   /* of the day, nominal */
	uint16_t from, to;  /* minutes of the day */
	int16_t offset;
	bool utc;           /* for rules in UTC; else for the others */
	bool dropped;       /* instances are dropped, unless their dates are explicit */
} stretch_t;

static bool applies(uint8_t marks, const stretch_t *s)
{
	if (!(marks & search.day_bit) || !(marks & RULE_UTC) == s->utc)
		return false;
	return !s->dropped || (marks & RULE_EXPLICIT);
}

/* Reads one meal at the cursor and offers its first instance in the stretch. */
static void search_meal(uint8_t meal, const stretch_t *s)
{
	part_t p;

	part_first(&p);
	do {
		bool wanted = p.in_preset && applies(rule_marks[p.rule], s);
		uint16_t minute = times_from(p.form, s->midnight, s->from);
		if (wanted && minute < s->to)
			offer(s->midnight + minute - s->offset, meal);
	} while (part_next(&p));
}

/* Narrows the stretch to instants that are after the start and not after the best so far; false if none is left. */
static bool narrow(stretch_t *s)
{
	int32_t from = search.after + 1 + s->offset - s->midnight;
	int32_t to = search.best + 1 + s->offset - s->midnight;

	if (from > (int32_t)s->from)
		s->from = from < MINUTES_PER_DAY ? (uint16_t)from : MINUTES_PER_DAY;
	if (to < (int32_t)s->to)
		s->to = to > 0 ? (uint16_t)to : 0;
	return s->from < s->to;
}

static void search_stretch(stretch_t *s)
{
	if (!narrow(s))
		return;
	cursor_at = table.meals_at;
	for (uint8_t meal = 0; cursor_at < table.end; meal++) {
		part_preset = search.preset;
		search_meal(meal, s);
	}
}

static void search_day(uint16_t day)
{
	int32_t midnight = (int32_t)day * MINUTES_PER_DAY;
	uint16_t from = 0;

	while (from < MINUTES_PER_DAY) {
		piece_t p;
		stretch_t s = {midnight, from, MINUTES_PER_DAY, 0, false, false};
		zone_piece(midnight + from, &p);
		if (p.until < midnight + MINUTES_PER_DAY)
			s.to = (uint16_t)(p.until - midnight);
		s.offset = p.offset;
		s.dropped = p.gap && table.gap_omit;
		from = s.to;
		search_stretch(&s);
	}
	if (table.has_utc) {
		stretch_t s = {midnight, 0, MINUTES_PER_DAY, 0, true, false};
		search_stretch(&s);
	}
}

static int32_t clamp(int32_t value, int32_t low, int32_t high)
{
	if (value < low)
		return low;
	return value > high ? high : value;
}

bool table_next(int32_t after, int32_t limit, uint8_t preset, serving_t *s)
{
	int32_t day, last;

	after = clamp(after, FIRST_MINUTE, LAST_MINUTE);
	limit = clamp(limit, FIRST_MINUTE, LAST_MINUTE);
	search.after = after;
	search.best = limit + 1;
	search.preset = preset;
	search.meals = s->meals;
	day = clamp(floor_days(after + 1 + table.reach_min), table.start, TABLE_MAX_DAY + 1L);
	last = clamp(floor_days(limit + table.reach_max), -1, table.through);
	while (day <= last) {
		uint8_t count = last - day < RULES_WINDOW ? (uint8_t)(last - day + 1) : RULES_WINDOW;
		rules_mark((uint16_t)(day + EPOCH_DAYS), count);
		for (uint8_t i = 0; i < count; i++, day++) {
			/* A gap or a change of offset can bring an instance of a later date first. */
			if (day * MINUTES_PER_DAY - table.reach_max > search.best)
				last = -1;
			else {
				search.day_bit = (uint8_t)(1 << i);
				search_day((uint16_t)day);
			}
		}
	}
	s->at = search.best;
	return search.best <= limit;
}

/* Adds one portion; *sum is the remainder plus half a pocket and stays within 0 to one pocket. */
static void pockets_add(uint32_t units, uint8_t adjust, uint32_t *sum, uint32_t *pockets)
{
	uint32_t pocket = 10 * table.pocket_units;

	*sum += units * adjust;
	*pockets += *sum / pocket;
	*sum %= pocket;
	if (*pockets > 0xFFFF)
		*pockets = 0xFFFF;
}

uint16_t table_pockets_of(uint32_t units, uint8_t adjust, int32_t *carry)
{
	int32_t half = (int32_t)(5 * table.pocket_units);
	uint32_t sum = (uint32_t)(clamp(*carry, -half, half) + half);
	uint32_t pockets = 0;

	pockets_add(units, adjust, &sum, &pockets);
	*carry = (int32_t)sum - half;
	return (uint16_t)pockets;
}

uint16_t table_pockets(const serving_t *s, uint8_t adjust, int32_t *carry)
{
	uint32_t pockets = 0;
	uint8_t meal = 0;

	cursor_at = table.meals_at;
	for (; cursor_at < table.end; meal++) {
		part_t p;
		part_first(&p);
		do
			times_from(p.form, 0, 0);
		while (part_next(&p));
		if (s->meals[meal >> 3] >> (meal & 7) & 1) {
			pockets += table_pockets_of(p.units, adjust, carry);
			if (pockets > 0xFFFF)
				pockets = 0xFFFF;
		}
	}
	return (uint16_t)pockets;
}
