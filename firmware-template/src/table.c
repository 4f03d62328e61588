#include "table.h"

#include "calendar.h"
#include "cursor.h"
#include "rules.h"
#include "times.h"

#include <string.h>

table_t table;
serving_t serving;

/* A search in progress, in minutes from its first midnight so that it works in 16 bits. Everything later than best is
 * of no interest. */
static struct {
	int32_t base;
	int16_t after, best;
	uint8_t preset;
	uint8_t day_bit; /* in rule_marks */
} search;

static void offer(int16_t at, uint8_t meal)
{
	if (at < search.best) {
		search.best = at;
		memset(serving.meals, 0, SERVING_MEALS_BYTES);
	}
	if (at == search.best)
		serving.meals[meal >> 3] |= (uint8_t)(1 << (meal & 7));
}

/* A stretch of one nominal day in which one offset holds. */
typedef struct {
	int16_t midnight;   /* of the day, nominal */
	int16_t from, to;   /* minutes of the day */
	int16_t offset;
	bool utc;           /* for rules in UTC; else for the others */
	bool dropped;       /* instances are dropped, unless their dates are explicit */
} stretch_t;

/* Whether the part that was read last has instances in the stretch, as far as its date says. */
static bool applies(const stretch_t *s)
{
	uint8_t marks = rule_marks[part.rule];

	if (!(marks & search.day_bit) || !(marks & RULE_UTC) == s->utc)
		return false;
	if (s->dropped && !(marks & RULE_EXPLICIT))
		return false;
	return part.presets == 0 || search.preset == ALL_PRESETS || (part.presets >> search.preset & 1);
}

/* Reads one meal at the cursor and offers its first instance in the stretch. */
static void search_meal(uint8_t meal, const stretch_t *s)
{
	part_first();
	do {
		uint16_t minute = times_from(search.base + s->midnight, (uint16_t)s->from);
		if (minute < (uint16_t)s->to && applies(s))
			offer(s->midnight + (int16_t)minute - s->offset, meal);
	} while (part_next());
}

static void search_stretch(stretch_t *s)
{
	int16_t shift = s->offset - s->midnight;
	uint8_t meal = 0;

	/* Only instants after the start and not after the best so far. */
	if (search.after + shift >= s->from)
		s->from = search.after + shift + 1;
	if (search.best + shift < s->to)
		s->to = search.best + shift + 1;
	if (s->from >= s->to)
		return;
	for (cursor_at = table.meals_at; cursor_at < table.end; meal++)
		search_meal(meal, s);
}

static void search_day(int16_t midnight)
{
	stretch_t s;
	piece_t p;
	int16_t from = 0;

	s.midnight = midnight;
	s.utc = false;
	do {
		zone_piece(midnight + from, &p);
		s.from = from;
		from = MINUTES_PER_DAY;
		if (p.until < midnight + MINUTES_PER_DAY)
			from = p.until - midnight;
		s.to = from;
		s.offset = p.offset;
		s.dropped = p.gap && table.gap_omit;
		search_stretch(&s);
	} while (from < MINUTES_PER_DAY);
	if (!table.has_utc)
		return;
	s.utc = true;
	s.dropped = false;
	s.offset = 0;
	s.from = 0;
	s.to = MINUTES_PER_DAY;
	search_stretch(&s);
}

/* The day since 1998 of a nominal minute since 2000; the sum stays positive for all that a search asks. */
static uint16_t day_of(int32_t minute)
{
	return (uint16_t)((uint32_t)(minute + EPOCH_DAYS * (int32_t)MINUTES_PER_DAY) / MINUTES_PER_DAY);
}

bool table_next(int32_t after, uint16_t minutes, uint8_t preset)
{
	uint16_t day = day_of(after + 1 + table.reach_min);
	uint16_t last = day_of(after + minutes + table.reach_max);
	int16_t midnight = 0;

	if (day < table.start + EPOCH_DAYS)
		day = table.start + EPOCH_DAYS;
	if (last > table.through + EPOCH_DAYS)
		last = table.through + EPOCH_DAYS;
	if (day > last)
		return false;
	zone_set_base(day);
	search.base = ((int32_t)day - EPOCH_DAYS) * MINUTES_PER_DAY;
	/* Less than 65 hours either way: the table begins later than the search at most by its own reach. */
	search.after = (int16_t)(after - search.base);
	search.best = search.after + (int16_t)minutes + 1;
	search.preset = preset;
	rules_mark(day, (uint8_t)(last - day + 1));
	search.day_bit = 1;
	/* A gap or a change of offset can bring an instance of a later date first. */
	for (; day <= last && midnight - table.reach_max <= search.best; day++) {
		search_day(midnight);
		midnight += MINUTES_PER_DAY;
		search.day_bit <<= 1;
	}
	serving.at = search.base + search.best;
	return search.best <= search.after + (int16_t)minutes;
}

uint16_t table_pockets_of(uint32_t units, uint8_t adjust, int32_t *carry)
{
	uint32_t pocket = 10 * table.pocket_units;
	uint32_t sum = (uint32_t)*carry + pocket / 2;

	/* A remainder kept from a table with larger pockets may be out of range: it is dropped. */
	if (sum > pocket)
		sum = pocket / 2;
	sum += units * adjust;
	*carry = (int32_t)(sum % pocket - pocket / 2);
	sum /= pocket;
	return sum > MAX_POCKETS ? MAX_POCKETS : (uint16_t)sum;
}

uint16_t table_pockets(uint8_t adjust, int32_t *carry)
{
	uint16_t pockets = 0;
	uint8_t meal = 0;

	for (cursor_at = table.meals_at; cursor_at < table.end; meal++) {
		part_first();
		do
			times_from(0, 0);
		while (part_next());
		if (serving.meals[meal >> 3] >> (meal & 7) & 1)
			pockets += table_pockets_of(part.units, adjust, carry);
	}
	return pockets;
}
