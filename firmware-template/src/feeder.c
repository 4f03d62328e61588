#include "feeder.h"

#include "board.h"
#include "buttons.h"
#include "clock.h"
#include "history.h"
#include "journal.h"
#include "outlined.h"
#include "power.h"
#include "storage.h"
#include "table.h"
#include "wheel.h"

#include <string.h>

instant_t feeder_now;
uint8_t feeder_faults;
uint8_t feeder_bank;

#define DAY_MINUTES 1440
#define DAY_SECONDS 86400UL
#define CLOCK_FAULTS (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT)

static void note(uint8_t event, uint16_t value)
{
	history_add(feeder_now.minute, event, value);
}

/* ---- the time ---- */

static uint16_t ticks_seen;
static uint16_t tick_parts; /* of a second, in 65,536ths */
static uint32_t unsure;  /* seconds counted by the watchdog since the clock was last believed */
static bool after_reset; /* how long the power was off is not known */

/* Whether the clock chip's time agrees with the watchdog's, which may be far off and counts in steps of 8 s. */
static bool plausible(void)
{
	uint32_t tolerance = unsure / 2 + 8 * TICK_SECONDS;

	if (after_reset)
		/* The cursor may be ahead where time went on from the watchdog, but not by days. */
		return clock_now.seconds + DAY_SECONDS > feeder_now.seconds;
	return clock_now.seconds - feeder_now.seconds + tolerance <= 2 * tolerance;
}

static void believe(void)
{
	feeder_now = clock_now;
	unsure = 0;
	after_reset = false;
	feeder_faults &= (uint8_t)~CLOCK_FAULTS;
}

static void doubt(uint8_t fault)
{
	bool known = feeder_faults & CLOCK_FAULTS;

	feeder_faults |= fault;
	if (!known)
		note(EVENT_CLOCK_LOST, fault);
}

/* Moves the time on by what the watchdog has counted: 1,048,576 cycles of 128 kHz are 8.192 s, eight seconds and 12,583 of
 * 65,536 parts to a fifth of a millionth. */
static void count_on(void)
{
	uint16_t ticks = power_ticks - ticks_seen;
	uint32_t parts = (uint32_t)ticks * 12583u + tick_parts;
	uint16_t passed = TICK_SECONDS * ticks + (uint16_t)(parts >> 16);

	ticks_seen += ticks;
	tick_parts = (uint16_t)parts;
	unsure += passed;
	feeder_now.seconds += passed;
}

void feeder_time(void)
{
	uint8_t answer = clock_read();

	count_on();
	if (answer == CLOCK_GOOD && plausible()) {
		believe();
		return;
	}
	/* Without the clock, time goes on from the last good reading. */
	feeder_now.minute = (int32_t)(feeder_now.seconds / 60);
	doubt(answer == CLOCK_SILENT ? FAULT_CLOCK_SILENT : FAULT_CLOCK_LOST);
}

OUTLINED static bool time_known(void)
{
	return journal.cursor != CURSOR_NONE;
}

/* Records the state with the pockets that are left to turn, usually none. */
static void record(uint16_t left)
{
	if (left == 0) {
		journal.kind = KIND_STATE;
		journal.resumed = 0;
	} else if (journal.resumed < 15) {
		journal.resumed++;
	}
	journal.pockets = left;
	journal_append();
}

/* Records a change of state; an interrupted serving that waits for the supply is kept. */
static void record_state(void)
{
	record(journal_left(INDEX_SWITCH));
}

static bool armed; /* `serving` is the first after the cursor, and the clock is armed for it */

/* After a change of table or preset, what lies before is settled: a meal that the new one has earlier today is not
 * taken for a missed one. */
static void settle_until_now(void)
{
	armed = false;
	if (time_known() && journal.cursor < feeder_now.minute)
		journal.cursor = feeder_now.minute;
	record_state();
}

void feeder_clock_was_set(void)
{
	believe();
	armed = false;
	/* What was given by a clock that ran ahead is not given again, unless that would mean days without food. */
	if (!time_known() || journal.cursor > feeder_now.minute + DAY_MINUTES) {
		journal.cursor = feeder_now.minute;
		record_state();
	}
	note(EVENT_CLOCK_SET, 0);
}

/* ---- the wheel ---- */

static bool waiting; /* for the supply */

static bool supply_good(void)
{
	uint16_t mv = power_supply();

	if (mv >= SUPPLY_MIN_MV) {
		waiting = false;
		feeder_faults &= (uint8_t)~FAULT_SUPPLY;
		return true;
	}
	if (!(feeder_faults & FAULT_SUPPLY))
		note(EVENT_SUPPLY, mv);
	waiting = true;
	feeder_faults |= FAULT_SUPPLY;
	return false;
}

static void give_up(uint16_t pockets)
{
	feeder_faults |= FAULT_JAM;
	note(EVENT_JAM, pockets);
	record(0);
}

/* A record counts at most POCKETS_PER_SLOT pockets; the next one takes over, so that there is always one that
 * says how much is left. */
static void turn(void)
{
	while (journal.pockets > 0) {
		uint8_t some = journal.pockets > POCKETS_PER_SLOT ? POCKETS_PER_SLOT : (uint8_t)journal.pockets;
		uint8_t turned = wheel_turn(some, table.turn_ms, table.trim_us);
		if (turned < some) {
			give_up(journal.pockets - turned);
			return;
		}
		if (journal.pockets == some) {
			journal_step(some + 1);
			journal.pockets = 0;
			return;
		}
		journal.pockets -= some;
		journal_append();
	}
}

/* Finishes a serving that was cut short; false if it has to wait for the supply. */
static bool resume(void)
{
	uint16_t left = journal_left(INDEX_SWITCH);

	if (left > 0) {
		if (!supply_good())
			return false;
		record(left);
		note(EVENT_RESUMED, left);
		turn();
	}
	return true;
}

/* ---- servings ---- */

static uint16_t missed_count;
static int32_t first_missed;

static void miss(int32_t at)
{
	if (missed_count == 0)
		first_missed = at;
	if (missed_count < 0xFFFF)
		missed_count++;
}

static void record_missed(void)
{
	if (missed_count == 0)
		return;
	feeder_faults |= FAULT_MISSED;
	history_add(first_missed, EVENT_MISSED, missed_count);
	missed_count = 0;
}

/* Gives `serving`. It is settled before the wheel turns: after a cut the serving is finished, never begun again. */
static void serve(void)
{
	journal.cursor = serving.at;
	journal.kind = KIND_SERVING;
	journal.resumed = 0;
	journal.pockets = table_pockets(journal.adjust, &journal.carry);
	journal_append();
	history_add(serving.at, EVENT_SERVED, journal.pockets);
	turn();
}

bool feeder_next(int32_t after, uint16_t minutes)
{
	armed = false;
	power_tick();
	return table_next(after, minutes, journal.preset);
}

/* Finds the newest serving after the cursor and up to now; the ones before it are missed. */
static bool newest_due(void)
{
	int32_t after = journal.cursor;
	bool found = false;
	serving_t newest;

	/* What was found when the clock was armed need not be searched for again. */
	if (armed && feeder_now.minute <= serving.at) {
		armed = feeder_now.minute < serving.at;
		return !armed;
	}
	if (after < feeder_now.minute - OLDEST_MISSED)
		after = feeder_now.minute - OLDEST_MISSED;
	while (after < feeder_now.minute) {
		uint16_t span = SEARCH_MINUTES;
		if (feeder_now.minute - after < SEARCH_MINUTES)
			span = (uint16_t)(feeder_now.minute - after);
		if (!feeder_next(after, span)) {
			after += span;
			continue;
		}
		if (found)
			miss(newest.at);
		newest = serving;
		found = true;
		after = serving.at;
	}
	if (found)
		serving = newest;
	return found;
}

/* Settles everything up to now; a serving that waits for the supply stays due. */
static void settle(void)
{
	bool late;

	missed_count = 0;
	waiting = false;
	if (!newest_due())
		return;
	late = feeder_now.minute - serving.at > (int32_t)table.late;
	if (!late && !supply_good())
		return;
	if (late)
		miss(serving.at);
	record_missed();
	if (late) {
		journal.cursor = serving.at;
		record_state();
	} else {
		serve();
	}
}

static void check_end_of_table(void)
{
	int32_t end = (table.through + 1L - TABLE_OVER_DAYS) * DAY_MINUTES;

	if (table.through < TABLE_MAX_DAY && feeder_now.minute > end)
		feeder_faults |= FAULT_TABLE_OVER;
}

static int32_t next_due; /* minute for which the clock is armed */

/* Arms the clock for the next serving; true if that is due already. */
static bool arm(void)
{
	if (!armed) {
		next_due = feeder_now.minute + DAY_MINUTES;
		if (feeder_next(feeder_now.minute, SEARCH_MINUTES)) {
			next_due = serving.at;
			/* Not one that was given by a clock that ran ahead, nor before one that waits. */
			armed = next_due > journal.cursor && !waiting;
		}
	}
	if (!clock_arm(next_due))
		doubt(FAULT_CLOCK_SILENT);
	feeder_time();
	return feeder_now.minute >= next_due;
}

void feeder_decide(void)
{
	clock_release();
	feeder_time();
	if (!resume())
		return;
	if (!time_known() && !(feeder_faults & CLOCK_FAULTS)) {
		journal.cursor = feeder_now.minute;
		record_state();
	}
	if (feeder_bank == NO_BANK || !time_known())
		return;
	check_end_of_table();
	do
		settle();
	while (arm() && !waiting);
}

void feeder_check(void)
{
	feeder_time();
	if (waiting || feeder_now.minute >= next_due)
		feeder_decide();
}

bool feeder_restless(void)
{
	return waiting || (feeder_faults & CLOCK_FAULTS);
}

/* ---- what the owner asks for ---- */

/* Ticks at the last presses served, a ring; an hour is 450 ticks. */
static uint16_t presses[MAX_PRESSES];
static uint8_t press_count;

#define HOUR_TICKS (3600 / TICK_SECONDS)

OUTLINED static bool press_allowed(void)
{
	uint8_t recent = 0;

	for (uint8_t i = 0; i < press_count; i++)
		if ((uint16_t)(power_ticks - presses[i]) <= HOUR_TICKS)
			presses[recent++] = presses[i];
	press_count = recent;
	return recent < table.button_per_hour && recent < MAX_PRESSES;
}

static bool asked; /* for a serving that is in the journal and not turned yet */

uint16_t feeder_manual(uint32_t units, uint8_t token)
{
	if (feeder_bank == NO_BANK || journal_left(INDEX_SWITCH) > 0 || table.button_units == 0 || !press_allowed() || !supply_good())
		return 0;
	presses[press_count++] = power_ticks;
	journal.token = token;
	journal.kind = KIND_MANUAL;
	journal.resumed = 0;
	/* Not adjusted: a press of one pocket gives one. */
	journal.pockets = table_pockets_of(units ? units : table.button_units, 10, &journal.carry);
	journal_append();
	note(EVENT_MANUAL, journal.pockets);
	asked = true;
	return journal.pockets;
}

void feeder_turn_asked(void)
{
	if (asked)
		turn();
	asked = false;
}

void feeder_adjust(uint8_t tenths)
{
	if (tenths == journal.adjust)
		return;
	journal.adjust = tenths;
	record_state();
	note(EVENT_ADJUST, tenths);
}

void feeder_preset(uint8_t index)
{
	if (index == journal.preset)
		return;
	feeder_decide(); /* what the old preset has due is given first */
	journal.preset = index;
	settle_until_now();
	note(EVENT_PRESET, index);
	feeder_decide(); /* the clock is armed for the new one's next serving, which may come sooner */
}

void feeder_button(uint8_t pressed)
{
	/* Whoever presses a button has seen the light. */
	feeder_faults &= (uint8_t)~(FAULT_MISSED | FAULT_JAM);
	feeder_time();
	if (pressed & BUTTON_FEED) {
		if (feeder_manual(0, journal.token) == 0)
			power_flash(2);
		feeder_turn_asked();
	}
	if (pressed & BUTTON_PORTION) {
		feeder_adjust(journal.adjust == 12 ? 8 : journal.adjust + 1);
		power_flash(journal.adjust - 7);
	}
	if (pressed & BUTTON_PRESET && feeder_bank != NO_BANK) {
		feeder_preset(journal.preset + 1 < table.presets ? journal.preset + 1 : 0);
		power_flash(journal.preset + 1);
	}
}

/* ---- banks ---- */

OUTLINED uint16_t feeder_table_at(uint8_t bank)
{
	return bank * (uint16_t)BANK_SIZE + 1;
}

uint8_t feeder_open(uint8_t bank)
{
	uint8_t fault = table_open(feeder_table_at(bank), BANK_SIZE - 1);

	if (fault == TABLE_GOOD && table.board != BOARD_CODE)
		fault = TABLE_BAD_BOARD;
	return fault;
}

static bool committed(uint8_t bank)
{
	return storage_read(feeder_table_at(bank) - 1) == BANK_COMMITTED && feeder_open(bank) == TABLE_GOOD;
}

/* Chooses the newer of the committed banks and opens it. */
static void choose_bank(void)
{
	bool first = committed(0);
	uint8_t sequence = table.sequence;

	feeder_bank = NO_BANK;
	if (committed(1)) {
		/* compared by difference, so that the numbers may wrap */
		feeder_bank = first && (int8_t)(table.sequence - sequence) <= 0 ? 0 : 1;
	} else if (first) {
		feeder_bank = 0;
	}
	if (feeder_bank == 0)
		feeder_open(0);
	if (feeder_bank == NO_BANK) {
		feeder_faults |= FAULT_NO_TABLE;
		memset(&table, 0, sizeof table);
	}
	if (journal.preset >= table.presets)
		journal.preset = 0;
}

/* A byte torn by a power cut may read differently next time: what was decided is written again. */
static void make_firm(void)
{
	uint8_t spare = feeder_bank == 0 ? 1 : 0;

	/* Never erased, not even for a moment: it may be the only valid table. */
	if (feeder_bank != NO_BANK)
		storage_refresh(feeder_table_at(feeder_bank) - 1, BANK_COMMITTED);
	if (storage_read(feeder_table_at(spare) - 1) != BANK_COMMITTED)
		storage_write(feeder_table_at(spare) - 1, BANK_VOID);
	if (journal_left(INDEX_SWITCH) == 0)
		record_state();
}

void feeder_start(void)
{
	journal_open();
	history_open();
	choose_bank();
	after_reset = true;
	if (time_known())
		feeder_now.seconds = (uint32_t)journal.cursor * 60;
	/* Only a loss of power tears bytes. */
	if (power_was_lost())
		make_firm();
}

void feeder_commit(void)
{
	uint8_t spare = feeder_bank == 0 ? 1 : 0;

	settle_until_now();
	storage_write(feeder_table_at(spare) - 1, BANK_COMMITTED);
	feeder_faults &= (uint8_t)~(FAULT_NO_TABLE | FAULT_TABLE_OVER);
	choose_bank();
	note(EVENT_TABLE, table.sequence);
}
