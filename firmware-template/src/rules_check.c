/* Checks the operands of day rules once, when a table is opened, so that the search need not. The ranges are those
 * of the Go package's own check. */
#include "cursor.h"
#include "rules.h"
#include "table_format.h"

static bool every_check(uint8_t unit)
{
	uint32_t n = cursor_number();
	uint32_t phase = cursor_number();

	return n >= 1 && n <= TABLE_MAX_NUMBER / 7 && phase < n * unit;
}

/* A signed number other than 0 whose distance from 0 is at most `most`. */
static bool is_position(int32_t value, int16_t most)
{
	return value != 0 && -most <= value && value <= most;
}

static bool list_check(uint8_t most)
{
	uint8_t count = cursor_u8();
	bool good = count > 0;

	for (; count > 0; count--)
		good &= is_position((int8_t)cursor_u8(), most);
	return good;
}

static bool mask_check(uint32_t mask, uint32_t all, bool empty_is_good)
{
	return mask <= all && (mask != 0 || empty_is_good);
}

static bool masks_check(void)
{
	uint32_t start = cursor_u32();
	uint32_t end = cursor_u32();

	return mask_check(start, 0x7FFFFFFF, true) && mask_check(end, 0x7FFFFFFF, start != 0);
}

static bool nth_of_month_check(void)
{
	uint8_t count = cursor_u8();
	bool good = count > 0;

	for (; count > 0; count--) {
		uint8_t byte = cursor_u8();
		good &= (byte & 7) < 7 && byte >> 3 <= 2 * TABLE_NTH_BIAS;
	}
	return good;
}

static bool nth_of_year_check(void)
{
	uint8_t count = cursor_u8();
	bool good = count > 0;

	for (; count > 0; count--) {
		int8_t n = (int8_t)cursor_u8();
		good &= cursor_u8() < 7 && -53 <= n && n <= 53;
	}
	return good;
}

static bool year_days_check(void)
{
	uint8_t count = cursor_u8();
	bool good = count > 0;

	for (; count > 0; count--)
		good &= is_position((int16_t)cursor_u16(), 366);
	return good;
}

static bool weeks_check(void)
{
	bool good = cursor_u8() < 7;

	good &= every_check(1);
	return list_check(53) && good;
}

static bool positions_check(void)
{
	uint8_t head = cursor_u8();
	uint8_t count = cursor_u8();
	bool good = head >> 4 <= PERIOD_WEEK_YEAR && (head & 0xF) < 7 && count > 0;

	for (; count > 0; count--)
		good &= is_position(cursor_signed(), 366);
	return good;
}

static bool dates_check(void)
{
	uint32_t count = cursor_number();
	uint32_t date = cursor_u16();

	if (count == 0)
		return false;
	for (; count > 1 && !cursor_bad; count--) {
		uint32_t step = cursor_number();
		if (step == 0)
			return false;
		date += step;
		if (date > TABLE_MAX_DAY)
			return false;
	}
	return date <= TABLE_MAX_DAY;
}

static bool bound_check(void)
{
	return cursor_u16() <= TABLE_MAX_DAY;
}

static bool operands_check(uint8_t op)
{
	switch (op) {
	case OP_UTC:
		return true;
	case OP_FROM:
	case OP_UNTIL:
		return bound_check();
	case OP_EVERY_DAYS:
	case OP_EVERY_MONTHS:
	case OP_EVERY_YEARS:
		return every_check(1);
	case OP_EVERY_WEEKS:
		return every_check(7);
	case OP_MONTHS:
		return mask_check(cursor_u16(), 0xFFF, false);
	case OP_DAY_LIST:
		return list_check(31);
	case OP_DAY_MASK:
		return mask_check(cursor_u32(), 0x7FFFFFFF, false);
	case OP_DAY_MASKS:
		return masks_check();
	case OP_NTH_OF_MONTH:
		return nth_of_month_check();
	case OP_NTH_OF_YEAR:
		return nth_of_year_check();
	case OP_YEAR_DAYS:
		return year_days_check();
	case OP_WEEKS:
		return weeks_check();
	case OP_SET_POS:
		return positions_check();
	case OP_DATES:
	case OP_EXCEPT:
		return dates_check();
	default:
		return false;
	}
}

/* Days of the month stand in one of three forms, not in two. */
static bool repeats_month_days(uint8_t last, uint8_t op)
{
	return OP_DAY_LIST <= last && op <= OP_DAY_MASKS;
}

bool rule_check(void)
{
	uint8_t last = 0;

	for (;;) {
		uint8_t op = cursor_u8();
		if (cursor_bad)
			return false;
		if (op >= OP_END)
			return op != OP_END;
		if (op <= last || repeats_month_days(last, op) || !operands_check(op))
			return false;
		last = op;
	}
}
