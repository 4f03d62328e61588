#include "feeder.h"

#include "board.h"
#include "bytes.h"
#include "buttons.h"
#include "calendar.h"
#include "clock.h"
#include "flags.h"
#include "history.h"
#include "journal.h"
#include "outlined.h"
#include "power.h"
#include "storage.h"
#include "table.h"
#include "wheel.h"

#include <string.h>

feeder_t feeder;

#define DAY_SECONDS 86400UL
#define HOUR_TICKS (3600 / TICK_SECONDS)
#define CLOCK_FAULTS (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT)

static void note(uint8_t event, uint16_t value)
{
	history_add(&feeder.now.minute, event, value);
}

/* ---- the time ---- */

/* Whether the clock chip's time agrees with the watchdog's, which may be far off and counts in steps of 8 s. */
static bool plausible(void)
{
	uint32_t latest = clock_now.seconds + feeder.tolerance;

	return latest >= feeder.now.seconds && (feeder.after_reset || latest - feeder.now.seconds <= 2 * feeder.tolerance);
}

static void believe(void)
{
	feeder.now = clock_now;
	feeder.tolerance = 8 * TICK_SECONDS;
	feeder.after_reset = false;
	feeder.faults &= (uint16_t)~CLOCK_FAULTS;
}

static void doubt(uint16_t fault)
{
	bool known = feeder.faults & CLOCK_FAULTS;

	feeder.faults |= fault;
	if (!known)
		note(EVENT_CLOCK_LOST, fault);
}

/* Moves the time on by what the watchdog has counted: 1,048,576 cycles of 128 kHz are 8.192 s, eight seconds and 12,583 of
 * 65,536 parts to a fifth of a millionth. */
static void count_on(void)
{
	uint16_t ticks = power_ticks - feeder.ticks_seen;
	uint32_t parts = (uint32_t)ticks * 12583u + feeder.tick_parts;
	uint16_t passed = TICK_SECONDS * ticks + (uint16_t)(parts >> 16);

	feeder.ticks_seen += ticks;
	feeder.tick_parts = (uint16_t)parts;
	feeder.tolerance += passed / 2;
	feeder.now.seconds += passed;
}

void feeder_time(void)
{
	uint8_t answer = clock_read();

	count_on();
	if (answer == CLOCK_GOOD && plausible()) {
		believe();
		return;
	}
	clock_day = 0;
	/* Without the clock, time goes on from the last good reading. */
	feeder.now.minute = (int32_t)(feeder.now.seconds / 60);
	doubt(answer == CLOCK_SILENT ? FAULT_CLOCK_SILENT : FAULT_CLOCK_LOST);
}

OUTLINED static bool time_known(void)
{
	return journal.cursor != CURSOR_NONE;
}

/* Minutes since an instant, below zero before it. By address, here and below: loading four bytes takes sixteen. */
OUTLINED static int32_t since(const int32_t *minute)
{
	return feeder.now.minute - *minute;
}

/* Writes a record that nothing has been turned of yet. */
static void begin(uint8_t kind, uint16_t pockets)
{
	journal.kind = kind;
	journal.pockets = pockets;
	journal_append();
}

/* Records the state with the pockets that are left to turn, usually none. */
static void record(uint16_t left)
{
	if (left == 0) {
		begin(KIND_STATE, 0);
		return;
	}
	if (journal.kind < RESUMED_MOST)
		journal.kind += RESUMED;
	journal.pockets = left;
	journal_append();
}

/* Records a change of state; an interrupted serving that waits for the supply is kept. */
static void record_state(void)
{
	record(journal_left(INDEX_SWITCH));
}

/* Settles everything up to an instant. */
static void settle_to(const int32_t *minute)
{
	bytes_copy4(&journal.cursor, minute);
	record_state();
}

/* After a change of table or preset, what lies before is settled: a meal that the new one has earlier today is not
 * taken for a missed one. */
static void settle_until_now(void)
{
	flags.armed = false;
	settle_to(since(&journal.cursor) > 0 ? &feeder.now.minute : &journal.cursor);
}

void feeder_clock_was_set(void)
{
	believe();
	flags.armed = false;
	/* What was given by a clock that ran ahead is not given again, unless that would mean days without food. A cursor that is not
	 * known is ahead of all. */
	if (since(&journal.cursor) < -MINUTES_PER_DAY)
		settle_to(&feeder.now.minute);
	note(EVENT_CLOCK_SET, 0);
}

/* ---- the wheel ---- */

static bool supply_good(void)
{
	uint16_t mv = power_supply();

	if (!power_low()) {
		flags.waiting = false;
		feeder.faults &= (uint16_t)~FAULT_SUPPLY;
		return true;
	}
	if (!(feeder.faults & FAULT_SUPPLY))
		note(EVENT_SUPPLY, mv);
	flags.waiting = true;
	feeder.faults |= FAULT_SUPPLY;
	return false;
}

static void give_up(uint16_t pockets)
{
	feeder.faults |= FAULT_JAM;
	note(EVENT_JAM, pockets);
	note(EVENT_LEFT_OUT, pockets);
	record(0);
}

/* A record counts at most POCKETS_PER_SLOT pockets; the next one takes over, so that there is always one that
 * says how much is left. */
static void turn(void)
{
	while (journal.pockets > 0) {
		uint8_t some = journal.pockets > POCKETS_PER_SLOT ? POCKETS_PER_SLOT : (uint8_t)journal.pockets;
		wheel_result_t result = wheel_turn(some, table.turn_ms, table.trim_us, false);
		if (result.verdict != WHEEL_DONE) {
			give_up(journal.pockets - result.turned);
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

/* Gives `serving`. It is settled before the wheel turns: after a cut the serving is finished, never begun again. */
static void serve(void)
{
	bytes_copy4(&journal.cursor, &serving.at);
	begin(KIND_SERVING, table_pockets(journal.adjust, &journal.carry));
	history_add(&serving.at, EVENT_SERVED, journal.pockets);
	turn();
}

bool feeder_next(const int32_t *after, uint16_t minutes)
{
	flags.armed = false;
	power_tick();
	return table_next(*after, minutes, journal.preset);
}

/* Finds what is due after the cursor and up to now. Returns how much, and the newest as `serving`. */
static uint16_t find_due(void)
{
	int32_t left = since(&serving.at);
	uint16_t found = 0;

	/* What was found when the clock was armed need not be searched for again. */
	if (flags.armed) {
		if (left < 0)
			return 0;
		flags.armed = false;
		if (left == 0)
			return 1;
	}
	bytes_copy4(&feeder.searched, &journal.cursor);
	while (since(&feeder.searched) > OLDEST_MISSED)
		bytes_add(&feeder.searched, MINUTES_PER_DAY);
	while ((left = since(&feeder.searched)) > 0) {
		uint16_t span = left < SEARCH_MINUTES ? (uint16_t)left : SEARCH_MINUTES;
		if (!feeder_next(&feeder.searched, span)) {
			bytes_add(&feeder.searched, (int16_t)span);
			continue;
		}
		if (found == 0)
			bytes_copy4(&feeder.first, &serving.at);
		bytes_copy4(&feeder.newest, &serving.at);
		bytes_copy4(&feeder.searched, &serving.at);
		if (++found == 0)
			found--;
	}
	if (found) {
		/* A search that finds nothing spoils `serving`. */
		bytes_add(&feeder.newest, -1);
		feeder_next(&feeder.newest, 1);
	}
	return found;
}

/* Settles everything up to now; a serving that waits for the supply stays due. */
static void settle(void)
{
	uint16_t missed = find_due();
	bool late;

	flags.waiting = false;
	if (missed == 0)
		return;
	late = (int32_t)table.late - since(&serving.at) < 0;
	if (!late) {
		if (!supply_good())
			return;
		missed--;
	}
	if (missed > 0) {
		feeder.faults |= FAULT_MISSED;
		history_add(&feeder.first, EVENT_MISSED, missed);
	}
	if (late)
		settle_to(&serving.at);
	else
		serve();
}

static void check_end_of_table(void)
{
	/* By the clock's own date: without it another fault shows. */
	if (table.through < TABLE_MAX_DAY && clock_day + TABLE_OVER_DAYS > table.through)
		feeder.faults |= FAULT_TABLE_OVER;
}

/* Arms the clock for the next serving; true if that is due already. */
static bool arm(void)
{
	if (!flags.armed) {
		bytes_copy4(&feeder.next_due, &feeder.now.minute);
		bytes_add(&feeder.next_due, MINUTES_PER_DAY);
		if (feeder_next(&feeder.now.minute, SEARCH_MINUTES)) {
			bytes_copy4(&feeder.next_due, &serving.at);
			/* Not if it may have been given by a clock that ran ahead, nor if another waits. */
			if (since(&journal.cursor) >= 0 && !flags.waiting)
				flags.armed = true;
		}
	}
	if (!clock_arm(&feeder.next_due))
		doubt(FAULT_CLOCK_SILENT);
	feeder_time();
	return since(&feeder.next_due) >= 0;
}

/* Keeps the times of old presses just over an hour old: the ticks wrap after six days. With `all`, of all. */
static void age_presses(bool all)
{
	for (uint8_t i = 0; i < MAX_PRESSES; i++)
		if (all || (uint16_t)(power_ticks - feeder.presses[i]) > HOUR_TICKS)
			feeder.presses[i] = power_ticks - HOUR_TICKS - 1;
}

void feeder_decide(void)
{
	age_presses(false);
	clock_release();
	feeder_time();
	if (!resume())
		return;
	if (!time_known() && !(feeder.faults & CLOCK_FAULTS))
		settle_to(&feeder.now.minute);
	if (feeder.bank == NO_BANK || !time_known())
		return;
	check_end_of_table();
	do
		settle();
	while (arm() && !flags.waiting);
}

void feeder_check(void)
{
	feeder_time();
	if (flags.waiting || since(&feeder.next_due) >= 0)
		feeder_decide();
}

bool feeder_restless(void)
{
	return flags.waiting || (feeder.faults & CLOCK_FAULTS);
}

/* ---- what the owner asks for ---- */

/* Where to note a press: in the place of one that is an hour old; 0 if as many as the limit allows are younger. */
static uint16_t *press_allowed(void)
{
	uint8_t left = table.button_per_hour;
	uint16_t *place = 0;

	for (uint8_t i = 0; i < MAX_PRESSES; i++)
		if ((uint16_t)(power_ticks - feeder.presses[i]) > HOUR_TICKS)
			place = &feeder.presses[i];
		else if (left > 0)
			left--;
	return left > 0 ? place : 0;
}

uint16_t feeder_manual(uint32_t units, uint8_t token)
{
	uint16_t *press;

	if (feeder.bank == NO_BANK || journal_left(INDEX_SWITCH) > 0 || table.button_units == 0)
		return 0;
	press = press_allowed();
	if (!press || !supply_good())
		return 0;
	*press = power_ticks;
	journal.token = token;
	/* Not adjusted: a press of one pocket gives one. */
	begin(KIND_MANUAL, table_pockets_of(units ? units : table.button_units, 10, &journal.carry));
	note(EVENT_MANUAL, journal.pockets);
	flags.asked = true;
	return journal.pockets;
}

void feeder_turn_asked(void)
{
	if (flags.asked)
		turn();
	flags.asked = false;
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

#define HOPPER_FORGET 0xFFFE
#define HOPPER_FULL 0xFFFF

void feeder_hopper(uint16_t holds)
{
	if (holds == 0)
		return;
	if (holds != HOPPER_FULL)
		journal.holds = holds == HOPPER_FORGET ? 0 : holds;
	journal.left = journal.holds;
	record_state();
	note(EVENT_REFILLED, journal.holds);
}

void feeder_button(uint8_t pressed)
{
	/* Whoever presses a button has seen the light. */
	feeder.faults &= (uint16_t)~(FAULT_MISSED | FAULT_JAM);
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
	if (pressed & BUTTON_PRESET && feeder.bank != NO_BANK) {
		feeder_preset(journal.preset + 1 < table.presets ? journal.preset + 1 : 0);
		power_flash(journal.preset + 1);
	}
}

/* ---- banks ---- */

OUTLINED uint8_t feeder_spare(void)
{
	return feeder.bank == 0 ? 1 : 0;
}

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

	feeder.bank = NO_BANK;
	if (committed(1)) {
		/* compared by difference, so that the numbers may wrap */
		feeder.bank = first && (int8_t)(table.sequence - sequence) <= 0 ? 0 : 1;
	} else if (first) {
		feeder.bank = 0;
	}
	if (feeder.bank == 0)
		feeder_open(0);
	if (feeder.bank == NO_BANK) {
		feeder.faults |= FAULT_NO_TABLE;
		memset(&table, 0, sizeof table);
	}
	if (journal.preset >= table.presets)
		journal.preset = 0;
}

/* A byte torn by a power cut may read differently next time: what was decided is written again. */
static void make_firm(void)
{
	uint16_t spare = feeder_table_at(feeder_spare()) - 1;

	/* Never erased, not even for a moment: it may be the only valid table. */
	if (feeder.bank != NO_BANK)
		storage_refresh(feeder_table_at(feeder.bank) - 1, BANK_COMMITTED);
	if (storage_read(spare) != BANK_COMMITTED)
		storage_write(spare, BANK_VOID);
	if (journal_left(INDEX_SWITCH) == 0)
		record_state();
}

void feeder_start(void)
{
	journal_open();
	history_open();
	choose_bank();
	age_presses(true);
	feeder.after_reset = true;
	/* The cursor may be ahead where time went on from the watchdog, but not by days. */
	feeder.tolerance = DAY_SECONDS;
	if (time_known())
		feeder.now.seconds = (uint32_t)journal.cursor * 60;
	/* Only a loss of power tears bytes. */
	if (power_was_lost())
		make_firm();
}

void feeder_commit(void)
{
	settle_until_now();
	storage_write(feeder_table_at(feeder_spare()) - 1, BANK_COMMITTED);
	feeder.faults &= (uint16_t)~(FAULT_NO_TABLE | FAULT_TABLE_OVER);
	choose_bank();
	note(EVENT_TABLE, table.sequence);
}
