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

OUTLINED bool mask_has(uint32_t mask, uint8_t n)
{
	for (; n > 0; n--)
		mask >>= 1;
	return mask & 1;
}

/* Reads a cycle; whether a unit lies in the first so many of it. */
OUTLINED static bool every(uint16_t unit, uint8_t length)
{
	uint16_t period = cursor_word(TABLE_MAX_PERIOD - 1) + 1;
	uint16_t left = period - cursor_word(period - 1); /* of the period, at unit 0 */

	EXPECT(period % length == 0 && (length != 12 || left % 12 == 0));
	unit %= period;
	return (uint16_t)(unit >= left ? unit - left : unit + (period - left)) < length;
}

static uint16_t list_first, list_last; /* entries of the list that was read */

/* Reads a list; whether one of three numbers is in it. Its steps are taken from them; 0 is in no list. */
OUTLINED static bool list_holds(uint16_t a, uint16_t b, uint16_t c)
{
	uint16_t step, room = 0xFFFF;
	bool holds = false, weekdays = (uint16_t)(c - 1) < 7; /* no date in hand is that early */

	step = cursor_word(room);
	list_first = step;
	EXPECT(step != 0);
	while (step != 0) {
		room -= step;
		list_last = (uint16_t)~room;
		EXPECT(!weekdays || (list_last & 7) != 0);
		a -= step;
		b -= step;
		c -= step;
		if (a == 0 || b == 0 || c == 0)
			holds = true;
		step = cursor_word(room);
	}
	return holds;
}

/* Reads a mask; whether a bit of it is set. */
static bool mask_holds(uint8_t bit, uint32_t all)
{
	uint32_t mask = cursor_number();

	EXPECT(mask != 0 && mask <= all);
	return mask_has(mask, bit);
}

/* Where the parts of the rule in hand lie. */
static struct {
	uint16_t start;
	/* Where a date stands among the dates of its period. Kept from one day to the one before, because counting a year costs
	 * 366 readings of the rule. */
	uint16_t period; /* the first day of that which is counted, 0 if none is */
	uint16_t up, down; /* from the start; from the end: both as the entries of the list say it */
	bool masked; /* had a DAY_MASK */
} rule;

/* Terms of a place in a month, year or week-numbering year. */
static bool place_holds(uint8_t op)
{
	uint8_t which = op & PERIOD_WEEK_YEAR; /* the mask of all periods */
	const period_t *period;
	uint16_t day = date.day, up, down;
	uint8_t any = 0;
	bool holds = true;

	EXPECT(!rule.masked || op != OP_DAY_LIST); /* the days of the month are given once */
	if (op == OP_WEEKS) {
		uint8_t start = cursor_u8();
		EXPECT(start <= 6 << 3 && (start & 7) == 0);
		which |= start;
	}
	period = period_find(which);
	up = day - period->start;
	down = period->length - 1 - up;
	if (op == OP_WEEKS) {
		holds = every(date.year, 1);
		date_to(day);
	}
	if (op == OP_DAY_MASK) {
		rule.masked = true;
		return mask_holds((uint8_t)up, TABLE_ALL_DAYS);
	}
	if (op >= OP_NTH_OF_MONTH) {
		up /= 7;
		down /= 7;
	}
	up = 2 * up + 2;
	down = 2 * down + 1;
	if (op == OP_NTH_OF_MONTH || op == OP_NTH_OF_YEAR) {
		any = date.wday + 1;
		up = up << 3 | any;
		down = down << 3 | any;
	}
	return list_holds(up, down, any) & holds;
}

/* Adds the work of the positions of a rule of which all before them has been read. Only while the table is opened is it of interest. */
static void count_work(uint8_t which)
{
	uint8_t weeks = 1;

	if (which & PERIOD_MONTH)
		weeks = TABLE_WORK_MONTH;
	if (which & PERIOD_YEAR)
		weeks = TABLE_WORK_YEAR;
	table.work += (cursor_place() - rule.start) * weeks;
}

/* Reads a day; whether the date is before it. */
INLINED bool before(uint16_t least)
{
	uint16_t day = cursor_u16();

	EXPECT((uint16_t)(day - least) <= (uint16_t)TABLE_MAX_DAY);
	return date.day < day;
}

/* Whether there is such a term, and the list that it ended with holds only what it may. */
INLINED bool term_is_right(uint8_t op)
{
	uint16_t least = 1, most;

	switch (op) {
	case OP_DAY_LIST:
		most = TABLE_MAX_MONTH_DAY;
		break;
	case OP_YEAR_DAYS:
		most = TABLE_MAX_YEAR_DAY;
		break;
	case OP_NTH_OF_MONTH:
		most = TABLE_MAX_NTH_OF_MONTH;
		break;
	case OP_NTH_OF_YEAR:
		most = TABLE_MAX_NTH_OF_YEAR;
		break;
	case OP_WEEKS:
		most = TABLE_MAX_WEEK;
		break;
	case OP_SET_POS:
		most = TABLE_MAX_POSITION;
		break;
	case OP_EXCEPT:
	case OP_DATES:
		least = EPOCH_DAYS;
		most = EPOCH_DAYS + (uint16_t)TABLE_MAX_DAY;
		break;
	default:
		return op == OP_EVERY_DAYS || op == OP_EVERY_WEEKS || op == OP_EVERY_MONTHS || op == OP_EVERY_YEARS || op == OP_DAY_MASK ||
		       op == OP_MONTHS || op == OP_FROM || op == OP_UNTIL || op == OP_UTC;
	}
	return list_first >= least && list_last <= most;
}

/* Whether one term holds on the date in hand. Reads all of its operands. */
static bool term_holds(uint8_t op)
{
	uint16_t day = date.day;
	uint8_t length = 1;

	switch (op) {
	case OP_UTC:
		return true;
	case OP_EXCEPT:
	case OP_DATES:
		return list_holds(day, day, day) ^ (op == OP_EXCEPT);
	case OP_FROM:
	case OP_UNTIL:
		return before(op == OP_FROM ? EPOCH_DAYS : EPOCH_DAYS + 1) ^ (op == OP_FROM);
	case OP_SET_POS: {
		uint8_t which = cursor_u8();
		EXPECT(which <= (6 << 3 | PERIOD_WEEK_YEAR) && (which & 1) == 0);
		count_work(which);
		return list_holds(rule.up, rule.down, 0);
	}
	case OP_MONTHS:
		return mask_holds(date.month, TABLE_ALL_MONTHS);
	case OP_EVERY_WEEKS:
		length = 7;
		break;
	case OP_EVERY_YEARS:
		length = 12;
		/* fall through */
	case OP_EVERY_MONTHS:
		day = 12 * date.year + date.month;
		break;
	case OP_EVERY_DAYS:
		break;
	default: /* a place, or no term at all, which term_is_right says */
		return place_holds(op);
	}
	return every(day, length);
}

/* Reads the rule for a day: its flags. Of the base, which is what positions count, it reads no more than up to SET_POS or to what
 * does not hold: whether the base holds and SET_POS follows. */
OUTLINED static uint8_t terms_read(uint16_t day, bool base)
{
	uint8_t flags = 0, op, holds, last = 0;

	date_to(day);
	cursor_to(rule.start);
	rule.masked = false;
	op = cursor_u8();
	EXPECT(op > RULE_MORE); /* one weekday at least */
	holds = op & bit_of(date.wday + 1);
	while (op & RULE_MORE) {
		op = cursor_u8();
		EXPECT(op > (last | RULE_MORE)); /* terms ascend */
		last = op;
		flags |= op;
		if (base && !holds)
			break;
		if (base && op >= OP_SET_POS)
			return (op & ~RULE_MORE) == OP_SET_POS;
		if (!term_holds(op & ~RULE_MORE))
			holds = 0;
		EXPECT(term_is_right(op & ~RULE_MORE));
	}
	if (base)
		return 0;
	flags &= RULE_UTC | RULE_EXPLICIT;
	return holds ? flags | RULE_HOLDS : flags;
}

uint8_t rule_read(void)
{
	rule.start = cursor_place();
	return terms_read(0, false);
}

/* Counts the dates of the base from a first to before another. */
OUTLINED static uint16_t base_count(uint16_t first, uint16_t end)
{
	uint16_t count = 0;

	for (; first != end; first++)
		if (terms_read(first, true))
			count++;
	return count;
}

/* Moves the position to an earlier day, on which the base holds. The cursor stands at the operands of SET_POS. */
static void position_move(uint16_t day)
{
	const period_t *period = period_find(cursor_u8());

	rule.up -= 2;
	rule.down += 2;
	if (rule.period != period->start) {
		uint16_t last = period->start + period->length;
		rule.period = period->start;
		rule.up = 2 * base_count(period->start, day + 1);
		rule.down = 2 * base_count(day, last) - 1;
	}
}

#define WINDOW 4 /* days marked at once: as many as a search looks at, so that it counts a period once */
#define ALL_MARKS ((1 << WINDOW) - 1)

/* The marks of the rule at the cursor, which is left behind it. */
static uint8_t rule_mark(void)
{
	uint8_t marks = 0;

	rule.start = cursor_place();
	rule.period = 0;
	for (uint8_t i = WINDOW - 1; i != 0xFF; i--) {
		uint16_t day = table.marked + i;
		uint8_t flags;
		if (terms_read(day, true))
			position_move(day);
		flags = terms_read(day, false);
		marks = (marks << 1 & ALL_MARKS) | flags;
	}
	return marks;
}

OUTLINED uint8_t rules_mark(uint16_t day)
{
	if ((uint16_t)(day - table.marked) >= WINDOW) {
		table.marked = day;
		rule_marks[0] = ALL_MARKS;
		cursor_to(table.rules_at);
		for (uint8_t i = 1; i <= table.rules; i++)
			rule_marks[i] = rule_mark();
	}
	return bit_of((uint8_t)(day - table.marked));
}
