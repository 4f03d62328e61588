#include "rules.h"

#include "calendar.h"
#include "cursor.h"
#include "table.h"
#include "table_format.h"

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

static void seek(uint16_t before, uint16_t length)
{
	sought.up = (int16_t)before + 1;
	sought.down = (int16_t)(before - length);
}

/* The how manieth of its weekday a date is in a month or year. */
static void seek_nth(uint16_t before, uint16_t length)
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

/* One of the entries of a list holds. */
static bool list_holds(uint8_t op)
{
	bool holds = false;

	for (uint8_t n = cursor_u8(); n > 0; n--)
		if (entry_holds(op))
			holds = true;
	return holds;
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
	return list_holds(OP_WEEKS) && holds;
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
	uint8_t month = month_length(d->year, d->month);
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
		seek(d->mday, month);
		return list_holds(op);
	case OP_DAY_MASK:
		return day_mask(d->mday);
	case OP_DAY_MASKS:
		holds = day_mask(d->mday);
		return day_mask(month - 1 - d->mday) || holds;
	case OP_NTH_OF_MONTH:
		seek_nth(d->mday, month);
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

/* Terms that positions do not see. */
static bool is_bound(uint8_t op)
{
	return op == OP_FROM || op == OP_UNTIL || op == OP_DATES || op == OP_EXCEPT;
}

/* The terms that make up the set in which positions count, weekdays included. */
static bool base_holds(uint16_t rule, const date_t *d)
{
	uint8_t op;

	cursor_at = rule;
	while ((op = cursor_u8()) < OP_END) {
		bool holds = term_holds(op, d);
		if (!holds && !is_bound(op))
			return false;
	}
	return op >> d->wday & 1;
}

static bool bounds_hold(uint16_t rule, const date_t *d)
{
	uint8_t op;

	cursor_at = rule;
	while ((op = cursor_u8()) < OP_END) {
		bool holds = term_holds(op, d);
		if (!holds && is_bound(op))
			return false;
	}
	return true;
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

/* Counts the dates of a rule's base in n days from a first. */
static uint16_t base_count(uint16_t rule, uint16_t first, uint16_t n)
{
	uint16_t count = 0;
	date_t d;

	date_set(&d, first);
	for (; n > 0; n--) {
		if (base_holds(rule, &d))
			count++;
		date_next(&d);
	}
	return count;
}

/* Moves the position to a date on which the base holds; set_pos is the offset of the operands. */
static void position_move(uint16_t rule, uint16_t set_pos, const date_t *d)
{
	uint16_t length, start;

	cursor_at = set_pos;
	start = period_start(cursor_u8(), d, &length);
	if (position.start == start) {
		position.from_start++;
		position.from_end--;
		return;
	}
	position.start = start;
	position.from_start = base_count(rule, start, d->day + 1 - start);
	position.from_end = base_count(rule, d->day, start + length - d->day);
}

static bool position_chosen(uint16_t set_pos)
{
	cursor_at = set_pos + 1;
	for (uint8_t n = cursor_u8(); n > 0; n--) {
		int16_t p = cursor_signed();
		if (p == (int16_t)position.from_start || -p == (int16_t)position.from_end)
			return true;
	}
	return false;
}

/* Reads a rule for its end, its flags and the place of its positions, 0 if it has none. */
static uint8_t rule_outline(uint16_t *set_pos)
{
	uint8_t op, last = 0, flags = 0;
	date_t any = {0, 0, 0, 0, 0, 0};

	*set_pos = 0;
	while ((op = cursor_u8()) < OP_END && !cursor_bad) {
		if (op <= last)
			cursor_bad = true;
		if (op == OP_UTC)
			flags |= RULE_UTC;
		if (op == OP_DATES)
			flags |= RULE_EXPLICIT;
		if (op == OP_SET_POS)
			*set_pos = cursor_at;
		term_holds(op, &any);
		last = op;
	}
	return flags;
}

uint8_t rule_check(void)
{
	uint16_t set_pos;

	return rule_outline(&set_pos);
}

/* Marks of one rule; leaves the cursor behind it. */
static uint8_t rule_mark(uint16_t rule, date_t d, uint8_t count)
{
	uint16_t set_pos, end;
	uint8_t marks;

	cursor_at = rule;
	marks = rule_outline(&set_pos);
	end = cursor_at;
	position.start = 0;
	for (uint8_t i = 0; i < count; i++, date_next(&d)) {
		if (!base_holds(rule, &d))
			continue;
		if (set_pos)
			position_move(rule, set_pos, &d);
		if (bounds_hold(rule, &d) && (!set_pos || position_chosen(set_pos)))
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
		rule_marks[i] = rule_mark(cursor_at, d, count);
}
