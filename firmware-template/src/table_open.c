/* Opens a table: checks its frame, notes where its parts lie, and reads every rule and part once, so that the search
 * can trust what it reads. The board checks what its own safety rests on; whether the values make sense is checked
 * by the compiler, and the CRC guards them since. */
#include "calendar.h"
#include "crc.h"
#include "cursor.h"
#include "rules.h"
#include "storage.h"
#include "table.h"
#include "times.h"

#include <string.h>

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
	cursor_end = at + length;
	table.end = cursor_end - TABLE_CRC_SIZE;
	while (cursor_at < table.end)
		crc = crc_add(crc, cursor_u8());
	table.crc = (uint16_t)~crc;
	if (cursor_u16() != table.crc)
		return TABLE_BAD_CRC;
	cursor_at = at;
	cursor_end = table.end;
	cursor_bad = false;
	return TABLE_GOOD;
}

/* An offset of the zone in minutes; keeps the smallest and the largest. */
static void offset_seen(int16_t minutes)
{
	if (minutes < table.offset_min)
		table.offset_min = minutes;
	if (minutes > table.offset_max)
		table.offset_max = minutes;
}

/* Month and week of a transition; the search reads the rest. */
static void open_transition(void)
{
	uint16_t low = cursor_u16();
	uint8_t week = low >> 4 & 7;

	cursor_u8();
	if ((uint8_t)((low & 0xF) - 1) > 11 || week == 0 || week > 5)
		cursor_bad = true;
}

static void open_dst(void)
{
	table.shift = 15 * (int8_t)cursor_u8();
	offset_seen(table.standard + table.shift);
	table.dst_at = cursor_at;
	open_transition();
	open_transition();
}

static void open_overrides(void)
{
	table.overrides_at = cursor_at;
	cursor_u8(); /* unit */
	for (uint16_t groups = cursor_small(); groups > 0 && !cursor_bad; groups--) {
		offset_seen(15 * (int8_t)cursor_u8());
		for (uint16_t spans = cursor_small(); spans > 0 && !cursor_bad; spans--) {
			cursor_number();
			cursor_number();
		}
	}
}

static void open_wheel(void)
{
	table.turn_ms = cursor_small();
	table.pocket_units = cursor_number();
	table.unit_mg = cursor_number();
	table.trim_us = cursor_signed();
	/* Ten times the pocket must not be zero, nor too large for the sum with a portion. */
	if (table.pocket_units - 1 >= MAX_POCKET_UNITS)
		cursor_bad = true;
}

static void open_rules(void)
{
	table.rules = cursor_u8();
	table.rules_at = cursor_at;
	if (table.rules > TABLE_MAX_RULES)
		cursor_bad = true;
	for (uint8_t n = table.rules; n > 0 && !cursor_bad; n--)
		if (rule_check() & RULE_UTC)
			table.has_utc = true;
}

static void open_header(void)
{
	uint8_t zone;

	uint16_t end = table.end, crc = table.crc;

	memset(&table, 0, sizeof table);
	table.end = end;
	table.crc = crc;
	table.late = TABLE_DEFAULT_LATE;
	table.pocket_units = 1;
	table.through = TABLE_MAX_DAY;
	table.button_per_hour = TABLE_DEFAULT_PER_HOUR;
	cursor_u16(); /* version and length */
	table.board = cursor_u8();
	table.sequence = cursor_u8();
	cursor_u8(); /* flags */
	table.start = cursor_u16();
	zone = cursor_u8();
	table.gap_omit = zone & ZONE_GAP_OMIT;
	/* seven bits, two's complement */
	table.standard = 15 * (int8_t)(((zone & ZONE_OFFSET_MASK) ^ 0x40) - 0x40);
	table.offset_min = table.standard;
	table.offset_max = table.standard;
}

static void open_sections(uint8_t flags)
{
	if (flags & FLAG_DST)
		open_dst();
	if (flags & FLAG_OVERRIDES)
		open_overrides();
	if (flags & FLAG_THROUGH)
		table.through = cursor_u16();
	if (flags & FLAG_LATE)
		table.late = cursor_small();
	if (flags & FLAG_BUTTON) {
		table.button_units = cursor_number();
		table.button_per_hour = cursor_u8();
	}
	if (flags & FLAG_WHEEL)
		open_wheel();
	if (!(flags & FLAG_BUTTON))
		table.button_units = table.pocket_units;
	if (flags & FLAG_PRESETS)
		table.presets = cursor_u8();
	if (flags & FLAG_RULES)
		open_rules();
	/* Days are counted in 16 bits from 1998. */
	if (table.start > TABLE_MAX_DAY || table.through > TABLE_MAX_DAY)
		cursor_bad = true;
}

static void open_meals(void)
{
	uint8_t meals = 0;

	table.meals_at = cursor_at;
	while (cursor_at < cursor_end && !cursor_bad) {
		if (meals++ == TABLE_MAX_MEALS)
			cursor_bad = true;
		part_first();
		do
			times_from(0, MINUTES_PER_DAY - 1);
		while (part_next() && !cursor_bad);
	}
}

/* How far local dates lie from the instants of their servings. */
static void open_reach(void)
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

	if (fault != TABLE_GOOD)
		return fault;
	open_header();
	open_sections(storage_read(at + OFF_FLAGS));
	if (cursor_bad)
		return TABLE_BAD_SECTION;
	open_meals();
	if (cursor_bad)
		return TABLE_BAD_MEAL;
	open_reach();
	return TABLE_GOOD;
}
