#include "table.h"
#include "outlined.h"

#include "bytes.h"
#include "calendar.h"
#include "rules.h"
#include "times.h"

#include <string.h>

table_t table;
serving_t serving;

/* A search in progress, in minutes from the midnight of the day in hand so that it works in 16 bits. Everything later than best
 * is of no interest. */
static struct {
	int16_t after, best;
	bool found;
	uint8_t preset_bit; /* 0: all */
	uint8_t marks, wanted; /* which marks a rule must show, and how */
} search;

static void offer(int16_t at)
{
	if (at < search.best) {
		search.best = at;
		memset(serving.meals, 0, SERVING_MEALS_BYTES);
	}
	if (at == search.best) {
		search.found = true;
		serving.meals[part.index & (SERVING_MEALS_BYTES - 1)] |= part.bit;
	}
}

/* Searches minutes of a day in which one offset holds, for rules with the wanted marks and of those in UTC only if wanted. */
static void search_stretch(uint16_t day, int16_t from, int16_t to, int16_t offset)
{
	int16_t after = search.after + offset, best = search.best + offset;

	/* Only instants after the start and not after the best so far. */
	if (after >= from)
		from = after + 1;
	if (best < to)
		to = best + 1;
	if (from >= to)
		return;
	parts_begin(day);
	while (parts_left()) {
		uint16_t minute = part_read((uint16_t)from);
		if (minute < (uint16_t)to && (rule_marks[part.rule] & search.marks) == search.wanted &&
		    (part.presets & search.preset_bit) == search.preset_bit)
			offer((int16_t)minute - offset);
	}
}

static void search_day(uint16_t day)
{
	uint8_t bit = rules_mark(day);
	int16_t from, to = 0;

	do {
		from = to;
		zone_piece(day, (uint16_t)from);
		to = from + (int16_t)piece.left;
		search.wanted = bit | piece.explicit;
		search.marks = search.wanted | RULE_UTC;
		search_stretch(day, from, to, piece.offset);
	} while (to < MINUTES_PER_DAY);
	if (table.rule_flags & RULE_UTC) {
		search.marks = search.wanted = bit | RULE_UTC;
		search_stretch(day, 0, MINUTES_PER_DAY, 0);
	}
}

bool table_next(int32_t after, uint16_t minutes, uint8_t preset)
{
	/* Since 1998, so that it is positive. */
	uint32_t first = (uint32_t)(after + 1 + table.offset_min + EPOCH_DAYS * (int32_t)MINUTES_PER_DAY);
	uint16_t day = (uint16_t)(first / MINUTES_PER_DAY) - EPOCH_DAYS;

	serving.at = after;
	search.found = false;
	memset(serving.meals, 0, SERVING_MEALS_BYTES);
	search.after = (int16_t)(first % MINUTES_PER_DAY) - 1 - table.offset_min;
	search.best = search.after + (int16_t)minutes;
	search.preset_bit = bit_of(preset);
	/* A gap or a change of offset can bring an instance of a later date first. For the proof: this ends within so many days. */
	//@ loop unroll 12;
	for (; search.best + table.offset_max >= 0; day++) {
		if (day >= table.start && day <= table.through)
			search_day(day + EPOCH_DAYS);
		search.after -= MINUTES_PER_DAY;
		search.best -= MINUTES_PER_DAY;
	}
	bytes_add(&serving.at, search.best - search.after);
	return search.found;
}

#if PRESETS_END

int32_t table_presets_end(void)
{
	zone_piece(table.presets_until + EPOCH_DAYS, 0);
	return table.presets_until * (int32_t)MINUTES_PER_DAY - piece.offset;
}

bool table_next_ending(int32_t after, uint16_t minutes, uint8_t preset, int32_t end)
{
	int32_t before = end - 1 - after; /* minutes that are the preset's */

	if (before >= minutes)
		return table_next(after, minutes, preset);
	if (before > 0) {
		if (table_next(after, (uint16_t)before, preset))
			return true;
		after += before;
		minutes -= (uint16_t)before;
		if (minutes > SEARCH_MINUTES) /* never: for the proof, which does not see that there are fewer before */
			minutes = SEARCH_MINUTES;
	}
	return table_next(after, minutes, 0);
}

#endif

OUTLINED uint16_t table_pockets_of(uint32_t units, uint8_t adjust, int32_t *carry)
{
	uint32_t sum = units * adjust;
	uint32_t pocket = table.pocket_tenths, half = pocket / 2;
	uint32_t kept = (uint32_t)*carry + half;

	/* A remainder kept from a table with larger pockets may be out of range: it is dropped. */
	sum += kept > pocket ? half : kept;
	*carry = (int32_t)(sum % pocket - half);
	sum /= pocket;
	return sum > MAX_POCKETS ? MAX_POCKETS : (uint16_t)sum;
}

uint16_t table_pockets(uint8_t adjust, int32_t *carry)
{
	uint16_t pockets = 0;

	parts_begin(0);
	while (parts_left()) {
		part_read(MINUTES_PER_DAY);
		if (!part.more && (serving.meals[part.index & (SERVING_MEALS_BYTES - 1)] & part.bit))
			pockets += table_pockets_of(part.units, adjust, carry);
	}
	return pockets;
}
