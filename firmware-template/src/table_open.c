/* Opens a table: checks its frame, notes where its parts lie, and reads every rule and part once, so that the search
 * can trust what it reads. The board checks what its own safety rests on; whether the values make sense is checked
 * by the compiler, and the CRC guards them since. */
#include "calendar.h"
#include "crc.h"
#include "cursor.h"
#include "outlined.h"
#include "rules.h"
#include "table.h"
#include "times.h"

#include <string.h>

/* Leaves the cursor at the board's code. */
static uint8_t open_frame(uint16_t at, uint16_t size)
{
	uint16_t length, crc = CRC_START;
	uint8_t head;

	cursor_end = at + size;
	cursor_to(at);
	head = cursor_u8();
	length = (uint16_t)(head & 0xF) << 8 | cursor_u8();
	cursor_to(at);
	if (head >> 4 != TABLE_VERSION)
		return TABLE_BAD_VERSION;
	if (length < TABLE_MIN_SIZE || length > size)
		return TABLE_BAD_LENGTH;
	length += at;
	cursor_end = length;
	while (parts_left())
		crc = crc_add(crc, cursor_u8());
	if (crc != CRC_GOOD)
		return TABLE_BAD_CRC;
	length -= TABLE_CRC_SIZE;
	cursor_to(length);
	table.crc = cursor_u16();
	cursor_end = length;
	cursor_to(at + OFF_BOARD);
	return TABLE_GOOD;
}

/* Keeps the smallest and the largest offset of the zone, from 0 on. */
static void offset_seen(int16_t minutes)
{
	if (minutes < table.offset_min)
		table.offset_min = minutes;
	else if (minutes > table.offset_max)
		table.offset_max = minutes;
}

/* Where in the year a transition lies, in ascending order; weekday and minutes are left aside, because the two are weeks apart. */
OUTLINED static uint8_t open_transition(void)
{
	uint8_t place = cursor_u8();

	cursor_u16();
	return place;
}

static void open_dst(void)
{
	uint8_t start;

	table.shift = cursor_quarters();
	offset_seen(table.standard + table.shift);
	table.dst_at = cursor_place();
	start = open_transition();
	table.dst_south = start > open_transition();
}

static void open_overrides(void)
{
	table.overrides_at = cursor_place();
	cursor_u8(); /* unit */
	/* No bank has room for 256 of anything that takes two bytes. */
	for (uint8_t groups = cursor_u8(); groups > 0; groups--) {
		offset_seen(cursor_quarters());
		while (cursor_number() != 0)
			;
	}
}

static void open_rules(void)
{
	table.rules = cursor_u8() & TABLE_MAX_RULES; /* within rule_marks */
	table.rules_at = cursor_place();
	for (uint8_t n = table.rules; n > 0 && !cursor_bad; n--)
		table.rule_flags |= rule_read();
}

static void open_sections(void)
{
	table_t *t = &table;
	uint32_t pocket;
	uint8_t flags;

	t->board = cursor_u8();
	t->sequence = cursor_u8();
	flags = cursor_u8();
	t->start = cursor_u16();
	t->gap_omit = flags & FLAG_GAP_OMIT;
	t->standard = cursor_quarters();
	offset_seen(t->standard);
	t->turn_ms = cursor_number();
	pocket = cursor_number();
	cursor_number(); /* milligrams in a unit */
	t->trim_us = cursor_signed();
	if (flags & FLAG_DST)
		open_dst();
	if (flags & FLAG_OVERRIDES)
		open_overrides();
	t->through = TABLE_MAX_DAY;
	if (flags & FLAG_THROUGH)
		t->through = cursor_u16();
	t->late = TABLE_DEFAULT_LATE;
	if (flags & FLAG_LATE)
		t->late = cursor_number();
	t->button_units = pocket;
	t->button_per_hour = TABLE_DEFAULT_PER_HOUR;
	if (flags & FLAG_BUTTON) {
		t->button_units = cursor_number();
		t->button_per_hour = cursor_u8();
	}
	/* Ten times the pocket must not be zero, nor too large for the sum with a portion. */
	if (pocket - 1 >= MAX_POCKET_UNITS)
		cursor_fail();
	t->pocket_tenths = 10 * pocket;
	if (flags & FLAG_PRESETS)
		t->presets = cursor_u8();
	if (flags & FLAG_RULES)
		open_rules();
}

static void open_meals(void)
{
	table.meals_at = cursor_place();
	parts_begin(EPOCH_DAYS);
	while (parts_left() && !cursor_bad) {
		part_read(MINUTES_PER_DAY - 1);
		if (part.index == SERVING_MEALS_BYTES)
			cursor_fail();
	}
	if (part.more)
		cursor_fail();
}

OUTLINED uint8_t table_open(uint16_t at, uint16_t size)
{
	uint8_t fault;

	memset(&table, 0, sizeof table);
	cursor_bad = false;
	fault = open_frame(at, size);
	if (fault != TABLE_GOOD)
		return fault;
	open_sections();
	if (cursor_bad)
		return TABLE_BAD_SECTION;
	open_meals();
	if (cursor_bad)
		return TABLE_BAD_MEAL;
	return TABLE_GOOD;
}
