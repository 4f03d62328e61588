/* The journal: a ring of records in storage, each holding the whole state, so that the newest whole one is all that a
 * restart needs. In: changes of state. Out: the state, and how far an interrupted serving got. Layout and
 * order of writing: STORAGE.md, "Journal". No registers. */
#ifndef JOURNAL_H
#define JOURNAL_H

#include <stdbool.h>
#include <stdint.h>

typedef struct {
	int32_t cursor;   /* every serving up to this minute is settled; CURSOR_NONE */
	int32_t carry;    /* tenths of mass units, after the pockets below */
	uint8_t preset;   /* index */
	uint8_t adjust;   /* tenths, 8 to 12 */
	uint8_t token;    /* of the last serving asked for over the line */
	uint8_t kind;     /* KIND_... */
	uint16_t pockets; /* to be turned for this record */
	uint8_t resumed;  /* how often, at most 15 */
} journal_t;

extern journal_t journal;

/* Reads the newest whole record into `journal`, or sets the state of a feeder that has never run. */
void journal_open(void);
/* Writes `journal` as a new record with no step taken. */
void journal_append(void);
/* Records that pocket n of this record starts to turn; n = pockets + 1 records the end. At most POCKETS_PER_SLOT + 1. */
void journal_step(uint8_t n);
/* Pockets of the newest record that are still to be turned. A pocket that was turning when the power failed counts as
 * turned the first time and as not turned the next, so that two cuts in one serving cancel; with an index switch
 * the wheel itself shows where it stands, and the pocket is always finished. */
uint16_t journal_left(bool index_switch);

#endif
