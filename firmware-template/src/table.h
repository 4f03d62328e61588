/* The alarm table: which servings are due. In: a table in storage (FORMAT.md) and instants in minutes of UTC since
 * 2000-01-01T00:00. Out: servings. No registers, no heap, no recursion; any bytes may be given. */
#ifndef TABLE_H
#define TABLE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __AVR__
#include <avr/io.h>
#endif

#include "table_format.h"
#include "rules.h"
#include "zone.h"

/* Chips of 16 KiB have no room for what version 3 adds: they say so (IDENTIFY) and refuse its tables. */
#if defined(FLASHEND) && FLASHEND < 0x7FFF
#define TABLE_NEWEST 2
#else
#define TABLE_NEWEST TABLE_VERSION
#endif
#define PRESETS_END (TABLE_NEWEST >= 3) /* a preset may end by itself */

/* The head of the open table, where its parts lie in storage, and what was found out about it. */
typedef struct {
	span_t span;
	uint16_t marked; /* first of the days that the rules are marked for */
	uint16_t crc;
	uint8_t sequence, presets;
	uint16_t rules_at, meals_at;
	uint16_t dst_at;       /* of the two transitions; 0: none */
	uint16_t overrides_at; /* 0: none */
	uint16_t start, through; /* local dates since 2000-01-01 */
#if PRESETS_END
	uint16_t presets_until;  /* local date from which on the first preset is in force again; 0: none */
#endif
	uint16_t late;           /* minutes */
	uint16_t work;           /* of the rules with positions, while the table is opened */
	uint32_t button_units;
	uint32_t pocket_tenths; /* of mass units in a pocket */
	uint16_t turn_ms;
	int16_t trim_us;
	int16_t standard, shift;         /* minutes */
	int16_t offset_min, offset_max;  /* of all that the zone mentions, and 0: how far dates lie from the instants of servings */
	uint8_t board;
	uint8_t button_presses; /* bits 3-0 in an hour, bits 7-4 in a day, 0: the default */
	uint8_t rules;
#if PRESETS_END
	uint8_t version;
#endif
	uint8_t rule_flags; /* RULE_... of any of them */
	uint8_t gap_omit; /* FLAG_GAP_OMIT, or 0 */
	bool dst_south; /* daylight saving goes over the turn of the year */
} table_t;

extern table_t table;

#define SERVING_MEALS_BYTES (TABLE_MAX_MEALS / 8)

/* What is due at one instant: bit i of meals is meal i. */
typedef struct {
	int32_t at;
	uint8_t meals[SERVING_MEALS_BYTES];
} serving_t;

extern serving_t serving; /* that was found last */

#define ALL_PRESETS TABLE_MAX_PRESETS

#define MAX_POCKETS 1000         /* for one meal: a hopper, many times over */

/* Checks the table at a storage offset, of which size bytes may be read, and opens it.
 * Returns TABLE_GOOD, or the first fault (TABLE_BAD_... in table_format.h); cursor_at is then near it.
 * After a fault `table` must not be used until another has been opened. */
uint8_t table_open(uint16_t at, uint16_t size);

/* The longest search: a day and two hours, so that a daily search overlaps the next. */
#define SEARCH_MINUTES 1560

/* Finds the first serving with after < at <= after + minutes (at most SEARCH_MINUTES), of the meals in a preset
 * (ALL_PRESETS: of all), and sets `serving`. Returns false if there is none; `serving` is spoilt then. */
bool table_next(int32_t after, uint16_t minutes, uint8_t preset);

/* The same where the preset ends at an instant, from which on the first is in force. */
bool table_next_ending(int32_t after, uint16_t minutes, uint8_t preset, int32_t end);

/* That instant: 00:00 of table.presets_until, which must not be 0. */
int32_t table_presets_end(void);

/* Whole pockets for the meals of `serving` at an adjustment of 8 to 12 tenths. *carry is the remainder, in tenths
 * of mass units, at most half a pocket either way, and is moved on. At most MAX_POCKETS for a meal. */
uint16_t table_pockets(uint8_t adjust, int32_t *carry);
/* The same for an amount given in mass units. */
uint16_t table_pockets_of(uint32_t units, uint8_t adjust, int32_t *carry);

#endif
