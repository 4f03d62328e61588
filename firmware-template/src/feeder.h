/* The feeder's decisions, pure C over clock, journal, table and wheel: what the time is (timekeeping.c), what is due and what becomes of
 * it (servings.c), how much may be given (limits.c), which table is in force (banks.c), what is wrong (faults.c), and what its owner
 * asks for (feeder.c). */
#ifndef FEEDER_H
#define FEEDER_H

#include <stdbool.h>
#include <stdint.h>

#include "clock.h"

#define NO_BANK 0xFF
#define OLDEST_MISSED 86400L /* minutes: older servings are not even counted as missed */
#define TABLE_OVER_DAYS 14   /* the end of the table is shown so long before */

/* What the feeder knows. In one struct, because the compiler reaches the fields of one through a pointer: half the bytes of an
 * address each. */
typedef struct {
	/* These go into an answer as they lie here, and so do parts of journal_t and table_t: line.c. */
	uint16_t faults;       /* FAULT_... bits that follow their cause; faults.h has all of them */
	uint16_t ticks_seen;   /* power_ticks at the last feeder_time */
	instant_t now;         /* as far as known; valid after feeder_time */
	/* The rest is the feeder's own. */
	uint8_t bank;          /* of the table in force: 0, 1 or NO_BANK */
	bool after_reset;      /* how long the power was off is not known */
	uint32_t tolerance;    /* seconds by which the clock may differ from what was counted */
	uint16_t tick_parts;   /* of a second, in 65,536ths */
	int32_t next_due;      /* minute for which the clock is armed */
	int32_t searched;      /* minute until which was searched for what is due */
	int32_t first, newest; /* minutes of what was found */
	uint16_t survived;     /* SURVIVED: the reset has left this memory as it was */
} feeder_t;
extern feeder_t feeder; /* what a reset without loss of power leaves of it, time_restart takes up */
#define SURVIVED 0x5AC3

/* Reads journal and banks after a reset, writes again what a power cut may have left half programmed, and notes the reset. */
void feeder_start(void);
/* Brings feeder.now up to date. */
void feeder_time(void);
/* Gives what is due, records what was missed, arms the clock for the next serving. */
void feeder_decide(void);
/* The same if the next serving is due by the clock, whatever its interrupt says; else costs one reading of it. */
void feeder_check(void);
/* table_next in the table and the preset in force. */
bool feeder_next(const int32_t *after, uint16_t minutes);
/* Something is due that waits for the supply, or the clock cannot wake us. */
bool feeder_needs_ticks(void);

/* Writes the state as it is as a new record of the journal, with the pockets that are left of a serving. */
void feeder_record(void);

/* Asks for the button's portion, or units if not 0, and returns its pockets; 0 if it cannot be given now or a limit is
 * reached. The pockets are turned by serving_turn_asked. */
uint16_t feeder_manual(uint32_t units, uint8_t token);
void feeder_adjust(uint8_t tenths);
void feeder_preset(uint8_t index);
/* The hopper was filled with so many pockets; FFFF: with as many as before, FFFE: with nobody knows how many, 0: it was not. */
void feeder_hopper(uint16_t holds);
/* Sets the clock, in seconds since 2000-01-01T00:00Z; false if it does not answer. */
bool feeder_set_clock(uint32_t seconds);
/* The bank that is not in force. */
uint8_t feeder_spare(void);
/* Where a bank's table begins. */
uint16_t feeder_table_at(uint8_t bank);
/* Opens the table of a bank; TABLE_GOOD or what is wrong with it. */
uint8_t feeder_open(uint8_t bank);
/* Puts the spare bank's table, already checked, in force from the next minute on. feeder_decide comes before, so that
 * what the old table had due is given. */
void feeder_commit(void);
/* What the buttons do. */
void feeder_button(uint8_t pressed);

#endif
