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
	head >>= 4;
#if PRESETS_END
	table.version = head;
	if (head < TABLE_OLDEST_VERSION || head > TABLE_NEWEST)
#else
	if (head != TABLE_NEWEST)
#endif
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

/* The month of a transition; week, weekday and minutes are left aside, because the two are a month apart. */
OUTLINED static uint8_t open_transition(void)
{
	uint8_t place = cursor_u8();
	uint16_t time = cursor_u16();

	EXPECT(place <= 0xBF && (place & 0xF) <= 4 && (time & 7) != 7);
	return place >> 4;
}

static void open_dst(void)
{
	uint8_t start, end;

	table.shift = cursor_quarters();
	offset_seen(table.standard + table.shift);
	table.dst_at = cursor_place();
	start = open_transition();
	end = open_transition();
	table.dst_south = start > end;
	if (table.dst_south)
		end += 12;
	EXPECT(2 <= end - start && end - start <= 10);
}

/* Reads the spans of a group: distances and lengths in turn, a 0 in place of a distance at the end. */
static void open_spans(void)
{
	uint32_t sum = 0, number;
	bool inside = false;

	while ((number = cursor_number()) != 0) {
		sum += number;
		if ((uint8_t)(sum >> 24) != 0 || (!inside && number < TABLE_MIN_SPAN_DISTANCE)) {
			cursor_fail();
			return;
		}
		inside = !inside;
	}
	EXPECT(!inside && sum != 0);
}

static void open_overrides(void)
{
	uint8_t unit, groups;

	table.overrides_at = cursor_place();
	unit = cursor_u8();
	groups = cursor_u8();
	EXPECT(groups > 0);
	if ((unit != 1 && unit != 2 && unit != 4) || groups > TABLE_MAX_GROUPS)
		cursor_fail();
	for (; groups > 0; groups--) {
		offset_seen(cursor_quarters());
		open_spans();
	}
}

static void open_rules(void)
{
	uint8_t rules = cursor_u8();

	EXPECT(rules != 0);
	if (rules > TABLE_MAX_RULES) { /* beyond rule_marks */
		cursor_fail();
		return;
	}
	table.rules = rules;
	table.rules_at = cursor_place();
	for (uint8_t n = table.rules; n > 0 && !cursor_bad; n--)
		table.rule_flags |= rule_read();
	if (table.work > TABLE_MAX_SEARCH_WORK)
		cursor_fail();
}

static void open_wheel(void)
{
	uint32_t pocket;

	table.turn_ms = cursor_word(TABLE_MAX_TURN);
	EXPECT(table.turn_ms == 0 || table.turn_ms >= TABLE_MIN_TURN);
	pocket = cursor_number();
	if (pocket == 0 || pocket > TABLE_MAX_POCKET_UNITS) {
		cursor_fail();
		pocket = 1; /* nothing is ever divided by 0 */
	}
	table.button_units = pocket;
	table.pocket_tenths = 10 * pocket;
	cursor_number(); /* milligrams in a unit */
	table.trim_us = cursor_signed(2 * TABLE_MAX_TRIM);
}

/* Whether a portion is no more than a hopper holds, many times over. */
INLINED bool portion_is_right(uint32_t units)
{
	return units <= TABLE_MAX_PORTION_UNITS && units <= TABLE_MAX_MEAL_POCKETS / 10 * table.pocket_tenths;
}

static void open_sections(void)
{
	table_t *t = &table;
	uint16_t through;
	uint8_t flags;

	t->board = cursor_u8();
	t->sequence = cursor_u8();
	flags = cursor_u8();
	t->start = cursor_u16();
	t->gap_omit = flags & FLAG_GAP_OMIT;
	t->standard = cursor_quarters();
	offset_seen(t->standard);
	open_wheel();
	if (flags & FLAG_DST)
		open_dst();
	if (flags & FLAG_OVERRIDES)
		open_overrides();
	through = TABLE_MAX_DAY;
	if (flags & FLAG_THROUGH)
		through = cursor_u16();
	EXPECT(t->start <= through && through <= (uint16_t)TABLE_MAX_DAY);
	t->through = through;
	t->late = TABLE_DEFAULT_LATE;
	if (flags & FLAG_LATE)
		t->late = cursor_word(TABLE_MAX_LATE);
	t->button_presses = TABLE_DEFAULT_PER_HOUR;
	if (flags & FLAG_BUTTON) {
		t->button_units = cursor_number();
		EXPECT(portion_is_right(t->button_units));
		t->button_presses = cursor_u8();
	}
	if (flags & FLAG_PRESETS) {
		t->presets = cursor_u8();
#if PRESETS_END
		if (t->version >= 3 && (t->presets & TABLE_PRESETS_UNTIL)) {
			t->presets &= (uint8_t)~TABLE_PRESETS_UNTIL;
			t->presets_until = cursor_u16();
			EXPECT(t->start < t->presets_until && t->presets_until <= t->through);
		}
#endif
		EXPECT(2 <= t->presets && t->presets <= TABLE_MAX_PRESETS);
	}
	if (flags & FLAG_RULES)
		open_rules();
}

static void open_meals(void)
{
	table.meals_at = cursor_place();
	parts_begin(EPOCH_DAYS);
	while (parts_left() && !cursor_bad) {
		part_read(MINUTES_PER_DAY - 1);
		EXPECT(part.units > 0 && portion_is_right(part.units) && part.rule <= table.rules);
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
