/* Opens a table: checks its frame, notes where its parts lie, and reads every rule and part once, so that the search
 * can trust what it reads. The board checks what its own safety rests on; whether the values make sense is checked
 * by the compiler, and the CRC guards them since. */
#include "calendar.h"
#include "crc.h"
#include "outlined.h"
#include "cursor.h"
#include "rules.h"
#include "storage.h"
#include "table.h"
#include "times.h"
#include "zone.h"

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

/* Reads an offset of the zone, less another; keeps the smallest and the largest. */
static void offset_seen(int16_t minutes)
{
	if (minutes < table.offset_min)
		table.offset_min = minutes;
	if (minutes > table.offset_max)
		table.offset_max = minutes;
}

/* Where in the year a transition lies, in ascending order; weekday and minutes are left aside, because the two are weeks apart. */
OUTLINED static uint8_t open_transition(void)
{
	uint8_t byte = cursor_u8();

	cursor_u16();
	return (uint8_t)(byte << 4) | (byte >> 4 & 7);
}

static void open_dst(void)
{
	uint8_t start;

	table.shift = 15 * (int8_t)cursor_u8();
	offset_seen(table.standard + table.shift);
	table.dst_at = cursor_at;
	start = open_transition();
	table.dst_south = start > open_transition();
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

OUTLINED static void open_rules(void)
{
	table.rules = cursor_u8();
	table.rules_at = cursor_at;
	if (table.rules > TABLE_MAX_RULES)
		cursor_bad = true;
	for (uint8_t n = table.rules; n > 0 && !cursor_bad; n--)
		table.rule_flags |= rule_read();
}

static void open_header(void)
{
	uint16_t end = table.end, crc = table.crc;
	uint8_t zone;

	memset(&table, 0, sizeof table);
	table.end = end;
	table.crc = crc;
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
	uint32_t pocket = 1;

	if (flags & FLAG_DST)
		open_dst();
	if (flags & FLAG_OVERRIDES)
		open_overrides();
	table.through = TABLE_MAX_DAY;
	if (flags & FLAG_THROUGH)
		table.through = cursor_u16();
	table.late = TABLE_DEFAULT_LATE;
	if (flags & FLAG_LATE)
		table.late = cursor_small();
	table.button_per_hour = TABLE_DEFAULT_PER_HOUR;
	if (flags & FLAG_BUTTON) {
		table.button_units = cursor_number();
		table.button_per_hour = cursor_u8();
	}
	if (flags & FLAG_WHEEL) {
		table.turn_ms = cursor_small();
		pocket = cursor_number();
		cursor_number(); /* milligrams in a unit */
		table.trim_us = cursor_signed();
	}
	if (!(flags & FLAG_BUTTON))
		table.button_units = pocket;
	/* Ten times the pocket must not be zero, nor too large for the sum with a portion. */
	if (pocket - 1 >= MAX_POCKET_UNITS)
		cursor_bad = true;
	table.pocket_tenths = 10 * pocket;
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
	table.meals_at = cursor_at;
	parts_begin(EPOCH_DAYS);
	while (parts_left() && !cursor_bad) {
		part_read(MINUTES_PER_DAY - 1);
		if (part.meal >= TABLE_MAX_MEALS)
			cursor_bad = true;
	}
	if (part.more)
		cursor_bad = true;
}

OUTLINED uint8_t table_open(uint16_t at, uint16_t size)
{
	uint8_t fault = open_frame(at, size);

	rules_forget();
	zone_forget();
	if (fault != TABLE_GOOD)
		return fault;
	open_header();
	open_sections(storage_read(at + OFF_FLAGS));
	if (cursor_bad)
		return TABLE_BAD_SECTION;
	open_meals();
	if (cursor_bad)
		return TABLE_BAD_MEAL;
	return TABLE_GOOD;
}
