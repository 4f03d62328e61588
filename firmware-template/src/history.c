#include "history.h"

#include "board.h"
#include "bytes.h"
#include "crc.h"
#include "outlined.h"
#include "table_format.h"

#if KEEP_HISTORY

static bool on_clock_module;
uint16_t history_newest;
static uint8_t sequence; /* of the newest */

OUTLINED uint16_t history_slots(void)
{
	return on_clock_module ? CLOCK_HISTORY_SLOTS : HISTORY_SLOTS;
}

bool history_get(uint16_t slot, uint8_t *raw)
{
	if (on_clock_module) {
		if (!memory_read(slot * HISTORY_SIZE, raw, HISTORY_SIZE))
			return false;
	} else {
#if HISTORY_SLOTS > 0
		bytes_load(raw, HISTORY_AT + slot * HISTORY_SIZE, HISTORY_SIZE);
#else
		return false;
#endif
	}
	return raw[HISTORY_CHECK] == crc_short(raw, HISTORY_CHECK);
}

static void slot_write(uint16_t slot, uint8_t *raw)
{
	if (on_clock_module) {
		memory_write(slot * HISTORY_SIZE, raw, HISTORY_SIZE);
	} else {
#if HISTORY_SLOTS > 0
		bytes_save(HISTORY_AT + slot * HISTORY_SIZE, raw, HISTORY_SIZE);
#endif
	}
}

void history_open(void)
{
	uint8_t raw[HISTORY_SIZE];
	bool before = false;

	on_clock_module = memory_read(0, raw, 1);
	history_newest = history_slots() - 1;
	sequence = 0;
	/* The newest record is the first whose successor does not go on. Neither ring's length is a multiple of 256. */
	for (uint16_t slot = 0; slot < history_slots(); slot++) {
		bool whole = history_get(slot, raw);
		if (before && (!whole || raw[HISTORY_SEQUENCE] != (uint8_t)(sequence + 1)))
			return;
		before = whole;
		if (whole) {
			history_newest = slot;
			sequence = raw[HISTORY_SEQUENCE];
		}
	}
}

void history_add(const int32_t *minute, uint8_t event, uint16_t value)
{
	uint8_t raw[HISTORY_SIZE];

	if (++history_newest >= history_slots())
		history_newest = 0;
	raw[HISTORY_SEQUENCE] = ++sequence;
	bytes_copy4(raw + HISTORY_MINUTE, minute); /* little-endian here and on the hosts that check it */
	raw[HISTORY_MINUTE + 3] |= (uint8_t)(event << 2); /* minutes take 26 bits */
	bytes_put(raw + HISTORY_VALUE, value, 2);
	raw[HISTORY_CHECK] = crc_short(raw, HISTORY_CHECK);
	slot_write(history_newest, raw);
}

#define ONCE_MINUTES 60
#define ONCE_RECORDS 4 /* that are looked through */

/* Whether a record says so and is that young. */
static bool is_recent(uint16_t slot, const int32_t *minute, uint8_t event)
{
	uint8_t raw[HISTORY_SIZE];
	int32_t at;

	if (!history_get(slot, raw) || raw[HISTORY_MINUTE + 3] >> 2 != event)
		return false;
	raw[HISTORY_MINUTE + 3] &= 3;
	bytes_copy4(&at, raw + HISTORY_MINUTE);
	at = *minute - at;
	return at >= 0 && at < ONCE_MINUTES;
}

void history_add_once(const int32_t *minute, uint8_t event, uint16_t value)
{
	uint16_t slot = history_newest;

	for (uint8_t n = ONCE_RECORDS; n > 0; n--) {
		if (slot < history_slots() && is_recent(slot, minute, event))
			return;
		slot = slot == 0 ? history_slots() - 1 : slot - 1;
	}
	history_add(minute, event, value);
}

#else

uint16_t history_newest = 0xFFFF;

void history_open(void) {}
uint16_t history_slots(void) { return 0; }

bool history_get(uint16_t slot, uint8_t *raw)
{
	(void)slot;
	(void)raw;
	return false;
}

void history_add(const int32_t *minute, uint8_t event, uint16_t value)
{
	(void)minute;
	(void)event;
	(void)value;
}

void history_add_once(const int32_t *minute, uint8_t event, uint16_t value)
{
	history_add(minute, event, value);
}

#endif
