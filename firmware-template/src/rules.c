#include "rules.h"

#include "calendar.h"
#include "cursor.h"
#include "outlined.h"
#include "table.h"
#include "table_format.h"

#include <string.h>

uint8_t rule_marks[1 + TABLE_MAX_RULES];

/* Units u since 1998 with (u - zero - phase) mod (n * length) < length, zero being 2000 in those units. The search relies on
 * phase < n * length, which opening a table checks. A period beyond 16 bits is longer than the calendar and works the
 * same as one of 65535. */
static bool every(uint16_t unit, uint16_t zero, uint8_t length)
{
	uint16_t n = cursor_small();
	uint16_t phase = cursor_small();
	int32_t start = (int32_t)phase + zero;

	n = n > 0xFFFF / length ? 0xFFFF : n * length;
	if (phase >= n) {
		cursor_bad |= n < 0xFFFF;
		return false;
	}
	if (n == length)
		return true;
	while (unit < start) /* few times: at most two years lie before 2000 */
		start -= n;
	return (uint16_t)(unit - start) % n < length;
}

/* What a list is asked for: a value counted from the start, its fellow counted from the end and negative, and what the entry
 * must say of the weekday. */
static struct {
	int16_t up, down;
	uint8_t wday;
} sought;

OUTLINED static void seek(uint16_t before, uint16_t length)
{
	sought.up = (int16_t)before + 1;
	sought.down = (int16_t)(before - length);
}

/* The how manieth of its weekday a date is in a month or year. */
OUTLINED static void seek_nth(uint16_t before, uint16_t length)
{
	sought.up = (int16_t)(before / 7) + 1;
	sought.down = -(int16_t)((length - 1 - before) / 7) - 1;
}

/* Reads one entry of the list of a term; its weekday, if it has one, must be that sought. */
static bool entry_holds(uint8_t op)
{
	int16_t value = (int8_t)cursor_u8();
	uint8_t wday = sought.wday;

	if (op == OP_YEAR_DAYS)
		value = (int16_t)((uint8_t)value | (uint16_t)cursor_u8() << 8);
	if (op == OP_NTH_OF_MONTH) {
		wday = value & 7;
		value = ((uint8_t)value >> 3) - TABLE_NTH_BIAS;
	}
	if (op == OP_NTH_OF_YEAR)
		wday = cursor_u8();
	/* the n-th weekday: 0 is every one; in the other lists no entry is 0 */
	return wday == sought.wday && (value == 0 || value == sought.up || value == sought.down);
}

/* One of the entries of a list holds; the rest is passed over. */
static bool list_holds(uint8_t op)
{
	uint8_t left = cursor_u8();

	for (; left > 0; left--)
		if (entry_holds(op)) {
			left--;
			cursor_at += left;
			if (op == OP_YEAR_DAYS || op == OP_NTH_OF_YEAR) /* two bytes each */
				cursor_at += left;
			return true;
		}
	return false;
}

static bool day_mask(uint8_t bit)
{
	uint8_t byte = 0;

	for (uint8_t i = 0; i < 4; i++) {
		uint8_t b = cursor_u8();
		if (i == bit >> 3)
			byte = b;
	}
	return byte >> (bit & 7) & 1;
}

static bool weeks(const date_t *d)
{
	week_t w;
	bool holds;

	date_week(d, cursor_u8(), &w);
	holds = every(w.year, EPOCH_YEARS, 1);
	seek(w.week - 1, w.weeks);
	return list_holds(OP_WEEKS) && holds; /* reads the list either way */
}

/* Explicit dates. A day before 2000 wraps to a number beyond all of them. */
static bool dates(uint16_t day)
{
	uint16_t count = cursor_small();
	uint16_t date = cursor_u16();
	bool holds = date == day;

	for (; count > 1 && !cursor_bad; count--) {
		date += cursor_small();
		if (date == day)
			holds = true;
	}
	return holds;
}

/* Leaves the cursor behind the operands; whether a position is chosen needs the whole period, see below. */
static bool skip_positions(void)
{
	cursor_u8();
	for (uint8_t n = cursor_u8(); n > 0; n--)
		cursor_number();
	return true;
}

/* Whether one term holds on a date. Reads all of its operands. */
static bool term_holds(uint8_t op, const date_t *d)
{
	uint16_t day = d->day - EPOCH_DAYS; /* bounds are asked for dates from 2000 on only */
	bool holds;

	sought.wday = d->wday;
	switch (op) {
	case OP_UTC:
		return true;
	case OP_FROM:
		return day >= cursor_u16();
	case OP_UNTIL:
		return day <= cursor_u16();
	case OP_EVERY_DAYS:
		return every(d->day, EPOCH_DAYS, 1);
	case OP_EVERY_WEEKS:
		return every(d->day, EPOCH_DAYS, 7);
	case OP_EVERY_MONTHS:
		return every(12 * d->year + d->month, 12 * EPOCH_YEARS, 1);
	case OP_EVERY_YEARS:
		return every(d->year, EPOCH_YEARS, 1);
	case OP_MONTHS:
		return cursor_u16() >> d->month & 1;
	case OP_DAY_LIST:
		seek(d->mday, month_length(d->year, d->month));
		return list_holds(op);
	case OP_DAY_MASK:
		return day_mask(d->mday);
	case OP_DAY_MASKS:
		holds = day_mask(d->mday);
		return day_mask(month_length(d->year, d->month) - 1 - d->mday) || holds;
	case OP_NTH_OF_MONTH:
		seek_nth(d->mday, month_length(d->year, d->month));
		return list_holds(op);
	case OP_NTH_OF_YEAR:
		seek_nth(d->yday, year_length(d->year));
		return list_holds(op);
	case OP_YEAR_DAYS:
		seek(d->yday, year_length(d->year));
		return list_holds(op);
	case OP_WEEKS:
		return weeks(d);
	case OP_SET_POS:
		return skip_positions();
	case OP_DATES:
		return dates(day);
	case OP_EXCEPT:
		return !dates(day);
	default:
		cursor_bad = true;
		return false;
	}
}

/* Where the parts of the rule in hand lie. Terms stand in ascending order, so that the bounds, which positions do not see, are
 * the first (UTC, FROM, UNTIL) and the last (DATES, EXCEPT); those between are the base. */
static struct {
	uint16_t start, base, set_pos, tail; /* set_pos: its operands; 0: none */
	uint8_t weekdays;
} rule;

/* All terms from an offset up to an opcode hold. */
static bool terms_hold(uint16_t at, uint8_t end, const date_t *d)
{
	uint8_t op;

	cursor_at = at;
	while ((op = cursor_u8()) < end)
		if (!term_holds(op, d))
			return false;
	return true;
}

/* The terms that make up the set in which positions count, weekdays included. */
static bool base_holds(const date_t *d)
{
	return (rule.weekdays >> d->wday & 1) && terms_hold(rule.base, OP_SET_POS, d);
}

static bool bounds_hold(const date_t *d)
{
	return terms_hold(rule.start, OP_EVERY_DAYS, d) && terms_hold(rule.tail, OP_END, d);
}

/* Where a date stands among the dates of its period. Kept from one day of the window to the next, because
 * counting a year costs 366 readings of the rule. */
static struct {
	uint16_t start; /* of the period counted, 0 if none is */
	uint16_t from_start, from_end;
} position;

/* First day and length of the period of a date; head is the byte after the opcode. */
static uint16_t period_start(uint8_t head, const date_t *d, uint16_t *length)
{
	week_t w;

	switch (head >> 4) {
	case PERIOD_WEEK:
		*length = 7;
		return d->day - (d->wday + 7 - (head & 0xF)) % 7;
	case PERIOD_MONTH:
		*length = month_length(d->year, d->month);
		return d->day - d->mday;
	case PERIOD_YEAR:
		*length = year_length(d->year);
		return d->day - d->yday;
	default: /* PERIOD_WEEK_YEAR */
		date_week(d, head & 0xF, &w);
		*length = 7 * w.weeks;
		return d->day - w.wday - 7 * (w.week - 1);
	}
}

/* Counts the dates of the base in n days from a first. */
static uint16_t base_count(uint16_t first, uint16_t n)
{
	uint16_t count = 0;
	date_t d;

	date_set(&d, first);
	for (; n > 0; n--) {
		if (base_holds(&d))
			count++;
		date_next(&d);
	}
	return count;
}

/* Moves the position to a date on which the base holds. */
static void position_move(const date_t *d)
{
	uint16_t length, start;

	cursor_at = rule.set_pos;
	start = period_start(cursor_u8(), d, &length);
	if (position.start == start) {
		position.from_start++;
		position.from_end--;
		return;
	}
	position.start = start;
	position.from_start = base_count(start, d->day + 1 - start);
	position.from_end = base_count(d->day, start + length - d->day);
}

static bool position_chosen(void)
{
	cursor_at = rule.set_pos + 1;
	for (uint8_t n = cursor_u8(); n > 0; n--) {
		int16_t p = cursor_signed();
		if (p == (int16_t)position.from_start || -p == (int16_t)position.from_end)
			return true;
	}
	return false;
}

/* Reads the rule at the cursor for its outline; sets cursor_bad if it is malformed. */
uint8_t rule_check(void)
{
	uint8_t op, last = 0, flags = 0;
	date_t any = {0, 0, 0, 0, 0, 0};

	memset(&rule, 0, sizeof rule);
	rule.start = cursor_at;
	for (;;) {
		op = cursor_u8();
		if (op >= OP_EVERY_DAYS && rule.base == 0)
			rule.base = cursor_at - 1;
		if (op > OP_SET_POS && rule.tail == 0)
			rule.tail = cursor_at - 1;
		if (op >= OP_END || cursor_bad)
			break;
		if (op <= last)
			cursor_bad = true;
		last = op;
		if (op == OP_UTC)
			flags |= RULE_UTC;
		if (op == OP_DATES)
			flags |= RULE_EXPLICIT;
		if (op == OP_SET_POS)
			rule.set_pos = cursor_at;
		term_holds(op, &any);
	}
	rule.weekdays = op;
	return flags;
}

/* Marks of the rule at the cursor, which is left behind it. */
static uint8_t rule_mark(date_t d, uint8_t count)
{
	uint8_t marks = rule_check();
	uint16_t end = cursor_at;

	position.start = 0;
	for (uint8_t i = 0; i < count; i++, date_next(&d)) {
		if (!base_holds(&d))
			continue;
		if (rule.set_pos)
			position_move(&d);
		if (bounds_hold(&d) && (rule.set_pos == 0 || position_chosen()))
			marks |= (uint8_t)(1 << i);
	}
	cursor_at = end;
	return marks;
}

void rules_mark(uint16_t first, uint8_t count)
{
	date_t d;

	date_set(&d, first);
	rule_marks[0] = (uint8_t)((1 << count) - 1);
	cursor_at = table.rules_at;
	for (uint8_t i = 1; i <= table.rules; i++)
		rule_marks[i] = rule_mark(d, count);
}
