/* The journal: a ring of records in storage, each holding the whole state, so that the newest whole one is all that a
 * restart needs. In: changes of state. Out: the state, and how far an interrupted serving got. Layout and
 * order of writing: STORAGE.md, "Journal". No registers. */
#ifndef JOURNAL_H
#define JOURNAL_H

#include <stdbool.h>
#include <stdint.h>

/* The newest record, as it lies in storage up to the steps. */
typedef struct {
	uint8_t mark;     /* of its sequence number */
	uint8_t kind;     /* KIND_..., and RESUMED for each time that it was resumed */
	uint16_t pockets; /* to be turned for this record */
	int32_t cursor;   /* every serving up to this minute is settled; CURSOR_NONE. From here to the token it goes into an answer as it lies */
	int32_t carry;    /* tenths of mass units, after those pockets */
	uint8_t preset;   /* index */
	uint8_t adjust;   /* tenths, 8 to 12 */
	uint8_t token;    /* of the last serving asked for over the line */
	uint8_t asked;    /* pockets asked for by button or line in the window of a day; so far into the answer */
	uint16_t faults;  /* FAULT_... bits that stay until somebody acknowledges them */
	uint16_t stepped; /* minutes that setting the clock has moved it by; times from here to `day` are without them: feeding time */
	uint16_t tried;   /* when the wheel last began to turn for the plan */
	uint16_t pressed; /* the last serving by button or line */
	uint16_t day;     /* the first of those in the window of a day */
	uint16_t left;    /* pockets in the hopper */
	uint16_t holds;   /* pockets when it is full; 0: nobody has said */
	uint8_t presses;  /* servings by button or line: bits 3-0 since an hour without, bits 7-4 in the window of a day */
	uint8_t last;     /* pockets of the plan's last serving */
	uint8_t fails;    /* attempts in a row that did not succeed, that of this record included */
	uint8_t guard;    /* GUARD_... bits */
	uint8_t crc[2];
	uint8_t steps[2]; /* marks of the newest even-numbered and of the newest odd-numbered step; FF: none */
	uint8_t seal;     /* mark 0: all the rest is fully programmed */
	uint16_t at;      /* the rest is the journal's own: where that record lies in storage; 0: there is none */
} journal_t;

#define KIND_MASK 0x0F
#define RESUMED 0x10
#define RESUMED_MOST 0xF0

extern journal_t journal;

/* Reads the newest whole record into `journal`, or sets the state of a feeder that has never run. */
void journal_open(void);
/* Writes `journal` as a new record with no step taken, and seals it. */
void journal_append(void);
/* Records that pocket n of this record starts to turn; n = pockets + 1 records the end. At most POCKETS_PER_SLOT + 1. */
void journal_step(uint8_t n);

enum { CUT_BETWEEN, CUT_TURNED, CUT_NOT_TURNED };

/* After an attempt that was cut short: sets journal.pockets to what is still to be turned of the record, by its steps. The pocket that
 * had begun to turn may have turned by any part. CUT_BETWEEN if there was none, else what it counts as; that is one more resumption. The
 * rule, for a serving that is cut any number of times, never adds up to more than one pocket too many:
 *
 *     cut       by time      with an index switch, which shows where a pocket ends
 *     first     turned       not turned: the switch finishes it
 *     second    not turned   turned
 *     later     turned       turned
 *
 * `hung`: the program hung, and the wheel turned on until the watchdog came: by less than half a pocket that takes 310 ms. The pocket
 * counts as turned, one more with it from the third resumption on, and so does every cut that comes later. */
uint8_t journal_resume(bool index_switch, bool hung);

/* The newest record is sealed: nothing was being written when the supply failed, but steps. */
bool journal_sealed(void);
/* Breaks the seal of the newest record, before something else is written that a power cut may tear, and renews it. */
void journal_unseal(void);
void journal_seal(void);

#endif
