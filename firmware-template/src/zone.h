/* Local time by the zone of the table that is open. In: minutes, UTC or nominal local. Out: offsets in
 * minutes east of UTC. Rules: FORMAT.md, "Local time"; RFC 5545 section 3.3.5 for gap and overlap. */
#ifndef ZONE_H
#define ZONE_H

#include <stdbool.h>
#include <stdint.h>

/* How nominal local time becomes UTC from some minute on. Minutes are relative to zone_base. */
typedef struct {
	int16_t until;  /* first nominal minute for which this may no longer hold */
	int16_t offset; /* instant = nominal - offset */
	bool gap;       /* these nominal minutes do not exist */
} piece_t;

/* Sets the day since 1998-01-01 from whose beginning minutes are counted, so that a search works in 16 bits. The questions
 * must lie within seven days of it. */
void zone_set_base(uint16_t day);
/* The reading of the nominal minute, and how far it holds. */
void zone_piece(int16_t nominal, piece_t *p);

#endif
