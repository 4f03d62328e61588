#include "rules.h"

#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "table.h"
#include "table_format.h"

uint8_t rule_marks[1 + TABLE_MAX_RULES];

OUTLINED uint8_t bit_of(uint8_t n)
{
	uint8_t bit = 1;

	for (; n > 0; n--)
		bit <<= 1;
	return bit;
}

/* Units u since 2000 with (u - phase) mod (n * length) < length. A period beyond 16 bits is longer than the calendar
 * and works the same as one of 65535. */
static bool every(uint16_t unit, uint8_t length)
{
	uint16_t n = cursor_small();
	uint16_t phase = cursor_small();

	n = n > 0xFFFF / 7 && length > 1 ? 0xFFFF : n * length;
	if (phase >= n) /* so n is not 0 */
		return false;
	while (unit > (uint16_t)-1 - EPOCH_DAYS) /* before 2000 */
		unit += n;
	unit %= n;
	if (unit < phase)
		unit += n; /* may wrap, and the difference is right again */
	return (uint16_t)(unit - phase) < length;
}

/* Reads a mask of some bytes; whether a bit is set. */
static bool mask_holds(uint8_t bytes, uint8_t bit)
{
	bool holds = false;

	do {
		uint8_t byte = cursor_u8();
		if (bit < 8)
			holds = byte & bit_of(bit);
		bit -= 8;
	} while (--bytes > 0);
	return holds;
}

/* How an entry of the list of a term would say the number n, with the weekday of the date where it says one. */
static uint16_t entry_of(uint8_t op, uint8_t n)
{
	if (op == OP_NTH_OF_MONTH) {
		n += TABLE_NTH_BIAS;
		n <<= 3;
		return n | date.wday;
	}
	if (op == OP_NTH_OF_YEAR)
		return (uint16_t)date.wday << 8 | n;
	return n;
}

/* Reads a list of entries; whether one is that of the date, counted from the start or from the end of the period. */
static bool list_holds(uint8_t op, uint16_t before, uint16_t after)
{
	uint16_t up = before + 1, down = ~after, any = entry_of(op, 0);
	bool holds = false;

	if (op != OP_YEAR_DAYS) {
		up = entry_of(op, (uint8_t)up);
		down = entry_of(op, (uint8_t)down);
	}
	for (uint8_t left = cursor_u8(); left > 0; left--) {
		uint16_t entry = cursor_u8();
		if (op == OP_NTH_OF_YEAR || op == OP_YEAR_DAYS)
			entry |= (uint16_t)cursor_u8() << 8;
		/* the n-th weekday: 0 is every one; in the other lists no entry is 0 */
		if (entry == up || entry == down || entry == any)
			holds = true;
	}
	return holds;
}

/* Explicit dates. A day before 2000 wraps to a number beyond all of them. */
static bool dates_hold(uint16_t day)
{
	uint16_t count = cursor_small();
	uint16_t date = cursor_u16();
	bool holds = false;

	for (;;) {
		if (date == day)
			holds = true;
		if (--count == 0 || cursor_bad)
			return holds;
		date += cursor_small();
	}
}

/* Leaves the cursor behind the operands; whether a position is chosen needs the whole period, see below. */
static bool positions_skip(void)
{
	cursor_u8();
	for (uint8_t n = cursor_u8(); n > 0; n--)
		cursor_small();
	return true;
}

/* Terms of a place in a month, year or week-numbering year. */
static bool place_holds(uint8_t op)
{
	uint8_t which = PERIOD_MONTH << 4;
	const period_t *period;
	uint16_t day = date.day, before, after;
	bool holds = true;

	if (op >= OP_NTH_OF_YEAR)
		which = PERIOD_YEAR << 4;
	if (op == OP_WEEKS)
		which = PERIOD_WEEK_YEAR << 4 | cursor_u8();
	period = period_find(which);
	before = day - period->start;
	after = period->length - 1 - before;
	if (op == OP_WEEKS) {
		holds = every(date.year - EPOCH_YEARS, 1);
		date_to(day);
	}
	if (op == OP_DAY_MASK)
		return mask_holds(4, (uint8_t)before);
	if (op == OP_DAY_MASKS) {
		holds = mask_holds(4, (uint8_t)before);
		return mask_holds(4, (uint8_t)after) | holds;
	}
	if (op == OP_WEEKS || op == OP_NTH_OF_MONTH || op == OP_NTH_OF_YEAR) {
		before /= 7;
		after /= 7;
	}
	return list_holds(op, before, after) & holds;
}

/* Whether one term holds on the date in hand. Reads all of its operands. */
static bool term_holds(uint8_t op)
{
	uint16_t day = date.day - EPOCH_DAYS; /* bounds are asked for dates from 2000 on only */
	uint16_t bound;

	if (op == OP_UTC)
		return true;
	if (op < OP_EVERY_DAYS) {
		bound = cursor_u16();
		return op == OP_FROM ? day >= bound : day <= bound;
	}
	if (op < OP_MONTHS) {
		if (op == OP_EVERY_MONTHS)
			day = 12 * (date.year - EPOCH_YEARS) + date.month;
		if (op == OP_EVERY_YEARS)
			day = date.year - EPOCH_YEARS;
		return every(day, op == OP_EVERY_WEEKS ? 7 : 1);
	}
	if (op == OP_MONTHS)
		return mask_holds(2, date.month);
	if (op < OP_SET_POS)
		return place_holds(op);
	if (op == OP_SET_POS)
		return positions_skip();
	return dates_hold(day) == (op == OP_DATES);
}

/* Where the parts of the rule in hand lie. Terms stand in ascending order, so that the bounds, which positions do not see, are
 * the first (UTC, FROM, UNTIL) and the last (DATES, EXCEPT); those between are the base. */
static struct {
	uint16_t start, set_pos; /* set_pos: its operands */
	uint8_t weekdays;
	/* Where a date stands among the dates of its period. Kept from one day to the next, because counting a year costs 366 readings
	 * of the rule. */
	uint16_t period; /* the first day of that which is counted, 0 if none is */
	uint16_t up, down; /* from the start; from the end: both as the entries of the list say it */
} rule;

/* Reads the rule from its start up to an opcode. Positions count in the base, so they are left with the first term of it that
 * does not hold. */
OUTLINED static uint8_t terms_read(uint8_t end)
{
	uint8_t flags = RULE_HOLDS, op = 0, last;

	cursor_to(rule.start);
	for (;;) {
		last = op;
		op = cursor_u8();
		if (op >= end)
			break;
		if (op <= last) {
			cursor_fail();
			break;
		}
		if (op == OP_UTC)
			flags |= RULE_UTC;
		if (op == OP_DATES)
			flags |= RULE_EXPLICIT;
		if (op == OP_SET_POS) {
			flags |= RULE_POSITIONS;
			rule.set_pos = cursor_place();
		}
		if (!term_holds(op) && (op >= OP_EVERY_DAYS || end == OP_END)) {
			flags &= ~RULE_HOLDS;
			if (end == OP_SET_POS)
				return flags;
		}
	}
	if (end == OP_END)
		rule.weekdays = op;
	if (!(rule.weekdays & bit_of(date.wday)))
		flags &= ~RULE_HOLDS;
	return flags;
}

uint8_t rule_read(void)
{
	rule.start = cursor_place();
	return terms_read(OP_END);
}

/* The terms that make up the set in which positions count, weekdays included. */
static bool base_holds(void)
{
	return terms_read(OP_SET_POS) & RULE_HOLDS;
}

/* Counts the dates of the base from a first to before another. */
OUTLINED static uint16_t base_count(uint16_t first, uint16_t end)
{
	uint16_t count = 0;

	for (; first != end; first++) {
		date_to(first);
		if (base_holds())
			count++;
	}
	return count;
}

/* Moves the position to the date in hand, on which the base holds; whether it is chosen. */
static bool position_chosen(void)
{
	const period_t *period;
	uint16_t day = date.day;

	cursor_to(rule.set_pos);
	period = period_find(cursor_u8());
	rule.up += 2;
	rule.down -= 2;
	if (rule.period != period->start) {
		uint16_t last = period->start + period->length;
		rule.period = period->start;
		rule.up = 2 * base_count(period->start, day + 1);
		rule.down = 2 * base_count(day, last) - 1;
	}
	cursor_to(rule.set_pos + 1);
	for (uint8_t n = cursor_u8(); n > 0; n--) {
		uint16_t p = cursor_small();
		if (p == rule.up || p == rule.down)
			return true;
	}
	return false;
}

#define WINDOW 4 /* days marked at once: as many as a search looks at, so that it counts a period once */

/* The marks of the rule at the cursor, which is left behind it. */
static uint8_t rule_mark(void)
{
	uint8_t marks = 0;

	rule.start = cursor_place();
	rule.period = 0;
	for (uint8_t i = 0; i < WINDOW; i++) {
		uint8_t flags;
		date_to(table.marked + i);
		flags = terms_read(OP_END);
		marks |= flags & (RULE_UTC | RULE_EXPLICIT);
		if (flags & RULE_POSITIONS) {
			uint16_t end = cursor_place();
			if (base_holds() && !position_chosen())
				flags = 0;
			cursor_to(end);
		}
		if (flags & RULE_HOLDS)
			marks |= bit_of(i);
	}
	return marks;
}

OUTLINED uint8_t rules_mark(uint16_t day)
{
	if ((uint16_t)(day - table.marked) >= WINDOW) {
		table.marked = day;
		rule_marks[0] = (1 << WINDOW) - 1;
		cursor_to(table.rules_at);
		for (uint8_t i = 1; i <= table.rules; i++)
			rule_marks[i] = rule_mark();
	}
	return bit_of((uint8_t)(day - table.marked));
}
