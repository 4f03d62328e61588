/* Checks a table's frame, sections, rules and meals once and notes where they lie. */
#include "calendar.h"
#include "crc.h"
#include "cursor.h"
#include "rules.h"
#include "storage.h"
#include "table.h"
#include "times.h"

#define MAX_OFFSET 96           /* quarter hours; no place on Earth exceeds 14 hours */
#define MAX_TURN_MS 60000
#define MAX_TRIM_US 500
#define MAX_POCKET_UNITS 1000000
#define MAX_PORTION_UNITS 100000000
#define MAX_SPAN_END ((TABLE_MAX_DAY + 366L) * MINUTES_PER_DAY)

static uint8_t open_frame(uint16_t at, uint16_t size)
{
	uint8_t head = storage_read(at + OFF_VERSION_LENGTH);
	uint16_t length = (uint16_t)(head & 0xF) << 8 | storage_read(at + OFF_LENGTH_LOW);
	uint16_t crc = CRC_START;

	cursor_at = at;
	if (head >> 4 != TABLE_VERSION)
		return TABLE_BAD_VERSION;
	if (length < TABLE_MIN_SIZE || length > size)
		return TABLE_BAD_LENGTH;
	table.end = at + length - TABLE_CRC_SIZE;
	while (cursor_at < table.end)
		crc = crc_add(crc, storage_read(cursor_at++));
	table.crc = (uint16_t)~crc;
	cursor_at = table.end;
	cursor_end = at + length;
	if (cursor_u16() != table.crc)
		return TABLE_BAD_CRC;
	cursor_end = table.end;
	cursor_bad = false;
	return TABLE_GOOD;
}

static void offset_seen(int16_t minutes)
{
	if (minutes < table.offset_min)
		table.offset_min = minutes;
	if (minutes > table.offset_max)
		table.offset_max = minutes;
}

static bool open_transition(transition_t *t)
{
	uint32_t packed = cursor_u24();

	t->month = (uint8_t)((packed & 0xF) - 1);
	t->week = packed >> 4 & 7;
	t->weekday = packed >> 7 & 7;
	/* 14 bits, two's complement */
	t->minutes = (int16_t)(((packed >> 10) ^ 0x2000) - 0x2000);
	return t->month < 12 && t->week >= 1 && t->week <= 5 && t->weekday < 7;
}

static bool open_dst(void)
{
	int8_t shift = (int8_t)cursor_u8();
	bool good = shift != 0 && -MAX_OFFSET <= shift && shift <= MAX_OFFSET;

	table.shift = 15 * shift;
	offset_seen(table.standard + table.shift);
	good &= open_transition(&table.dst_start);
	return open_transition(&table.dst_end) && good;
}

/* Moves an instant by a distance in units; INT32_MAX if it leaves the calendar. */
static int32_t span_step(int32_t from, uint8_t unit)
{
	uint32_t distance = cursor_number();

	if (distance > (uint32_t)MAX_SPAN_END / unit || from > MAX_SPAN_END - (int32_t)(distance * unit))
		return INT32_MAX;
	return from + (int32_t)(distance * unit);
}

static bool open_group(uint8_t unit)
{
	int8_t offset = (int8_t)cursor_u8();
	uint32_t spans = cursor_number();
	int32_t end = 0;

	offset_seen(15 * offset);
	if (spans == 0 || offset < -MAX_OFFSET || offset > MAX_OFFSET)
		return false;
	for (; spans > 0 && !cursor_bad; spans--) {
		int32_t start = span_step(end, unit);
		if (start == INT32_MAX)
			return false;
		end = span_step(start, unit);
		if (end <= start || end == INT32_MAX)
			return false;
	}
	return true;
}

static bool open_overrides(void)
{
	uint8_t quarters, groups;
	uint32_t count;

	table.overrides_at = cursor_at;
	quarters = cursor_u8();
	count = cursor_number();
	if ((quarters != 1 && quarters != 2 && quarters != 4) || count == 0 || count > 0xFF)
		return false;
	for (groups = (uint8_t)count; groups > 0 && !cursor_bad; groups--)
		if (!open_group(15 * quarters))
			return false;
	return true;
}

static bool open_late(void)
{
	uint32_t late = cursor_number();

	table.late = (uint16_t)late;
	return late <= TABLE_MAX_LATE;
}

static bool open_wheel(void)
{
	uint32_t turn = cursor_number();
	int32_t trim;

	table.turn_ms = (uint16_t)turn;
	table.pocket_units = cursor_number();
	table.unit_mg = cursor_number();
	trim = cursor_signed();
	table.trim_us = (int16_t)trim;
	return turn <= MAX_TURN_MS && table.pocket_units >= 1 && table.pocket_units <= MAX_POCKET_UNITS &&
	       -MAX_TRIM_US <= trim && trim <= MAX_TRIM_US;
}

static bool open_rules(void)
{
	table.rules = cursor_u8();
	table.rules_at = cursor_at;
	if (table.rules == 0 || table.rules > TABLE_MAX_RULES)
		return false;
	for (uint8_t n = table.rules; n > 0; n--) {
		/* The first terms of a rule say whether it is in UTC. */
		if (cursor_at < cursor_end && storage_read(cursor_at) == OP_UTC)
			table.has_utc = true;
		if (!rule_check())
			return false;
	}
	return true;
}

static void open_defaults(void)
{
	table.late = TABLE_DEFAULT_LATE;
	table.turn_ms = 0;
	table.pocket_units = 1;
	table.unit_mg = 0;
	table.trim_us = 0;
	table.shift = 0;
	table.overrides_at = 0;
	table.presets = 0;
	table.rules = 0;
	table.has_utc = false;
	table.through = TABLE_MAX_DAY;
	table.button_per_hour = TABLE_DEFAULT_PER_HOUR;
}

static bool open_header(void)
{
	uint8_t zone;

	cursor_u16(); /* version and length */
	table.board = cursor_u8();
	table.sequence = cursor_u8();
	cursor_u8(); /* flags */
	table.start = cursor_u16();
	zone = cursor_u8();
	table.gap_omit = zone & ZONE_GAP_OMIT;
	/* seven bits, two's complement */
	table.standard = 15 * (int16_t)(((zone & ZONE_OFFSET_MASK) ^ 0x40) - 0x40);
	table.offset_min = table.standard;
	table.offset_max = table.standard;
	return table.start <= TABLE_MAX_DAY;
}

/* The button's default is one pocket, so the wheel must be known first. */
static bool open_button_and_wheel(uint8_t flags)
{
	bool button = flags & FLAG_BUTTON;

	if (button) {
		table.button_units = cursor_number();
		table.button_per_hour = cursor_u8();
	}
	if (flags & FLAG_WHEEL && !open_wheel())
		return false;
	if (!button)
		table.button_units = table.pocket_units;
	return true;
}

static bool open_sections(uint8_t flags)
{
	if (flags & FLAG_DST && !open_dst())
		return false;
	if (flags & FLAG_OVERRIDES && !open_overrides())
		return false;
	if (flags & FLAG_THROUGH)
		table.through = cursor_u16();
	if (table.through < table.start || table.through > TABLE_MAX_DAY)
		return false;
	if (flags & FLAG_LATE && !open_late())
		return false;
	if (!open_button_and_wheel(flags))
		return false;
	if (flags & FLAG_PRESETS) {
		table.presets = cursor_u8();
		if (table.presets < 2 || table.presets > TABLE_MAX_PRESETS)
			return false;
	}
	return !(flags & FLAG_RULES) || open_rules();
}

/* One part, its head byte read; the portion stands in the first. */
static bool open_part(uint8_t head, bool first)
{
	uint8_t rule = head & HEAD_RULE_MASK;

	if (head & HEAD_PRESETS) {
		uint8_t presets = cursor_u8();
		if (!first || presets == 0 || presets >> table.presets != 0)
			return false;
	}
	if (first) {
		uint32_t units = cursor_number();
		if (units < 1 || units > MAX_PORTION_UNITS)
			return false;
	}
	if (rule == HEAD_RULE_ESCAPE) {
		uint32_t number = cursor_number();
		if (number < HEAD_RULE_ESCAPE || number > TABLE_MAX_RULES)
			return false;
		rule = (uint8_t)number;
	}
	return rule <= table.rules && times_check(head >> HEAD_FORM_SHIFT & HEAD_FORM_MASK) && !cursor_bad;
}

static bool open_meals(void)
{
	uint8_t meals = 0;

	table.meals_at = cursor_at;
	while (cursor_at < cursor_end) {
		bool first = true;
		uint8_t head;
		if (meals++ == TABLE_MAX_MEALS)
			return false;
		do {
			head = cursor_u8();
			if (cursor_bad || !open_part(head, first))
				return false;
			first = false;
		} while (head & HEAD_MORE);
	}
	return true;
}

static void reach(void)
{
	table.reach_min = table.offset_min;
	table.reach_max = table.offset_max;
	if (!table.has_utc)
		return;
	if (table.reach_min > 0)
		table.reach_min = 0;
	if (table.reach_max < 0)
		table.reach_max = 0;
}

uint8_t table_open(uint16_t at, uint16_t size)
{
	uint8_t fault = open_frame(at, size);

	zone_reset();
	if (fault != TABLE_GOOD)
		return fault;
	cursor_at = at;
	open_defaults();
	if (!open_header())
		return TABLE_BAD_HEADER;
	if (!open_sections(storage_read(at + OFF_FLAGS)) || cursor_bad)
		return TABLE_BAD_SECTION;
	if (!open_meals() || cursor_bad)
		return TABLE_BAD_MEAL;
	reach();
	return TABLE_GOOD;
}
