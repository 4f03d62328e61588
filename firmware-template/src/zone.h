/* Local time by the zone of the table that is open. In: nominal local minutes of a day. Out: offsets in
 * minutes east of UTC. Rules: FORMAT.md, "Local time"; RFC 5545 section 3.3.5 for gap and overlap. */
#ifndef ZONE_H
#define ZONE_H

#include <stdbool.h>
#include <stdint.h>

/* How nominal local time becomes UTC from some minute of a day on. */
typedef struct {
	uint16_t left;  /* so many minutes, of that day only; after them this may no longer hold */
	int16_t offset; /* instant = nominal - offset */
	uint8_t explicit; /* RULE_EXPLICIT: only for explicit dates, because these minutes do not exist; else 0 */
} piece_t;
extern piece_t piece;

/* What is asked, in minutes since 1998, and the last answer with the instants for which it is known to hold. Months go by from
 * one change of the offset to the next, so that nearly all questions cost a few comparisons. */
typedef struct {
	uint32_t nominal;
	uint32_t utc; /* what it may mean */
	uint32_t from, until; /* both 0: none */
	int16_t offset;
} span_t;

/* Sets `piece` to the reading of a day since 1998-01-01 from a minute on. */
void zone_piece(uint16_t day, uint16_t from);

#endif
