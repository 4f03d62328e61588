#include "feeder.h"

#include "board.h"
#include "buttons.h"
#include "clock.h"
#include "history.h"
#include "journal.h"
#include "power.h"
#include "storage.h"
#include "table.h"
#include "wheel.h"

#include <string.h>

uint32_t feeder_now;
uint8_t feeder_faults;
uint8_t feeder_bank;

/* ---- the time ---- */

static uint32_t good_seconds;    /* the last reading that was believed */
static uint32_t good_ticks;      /* and the ticks at that moment */
static bool after_reset;         /* how long the power was off is not known */

#define DAY_MINUTES 1440

/* Whether the clock chip's time agrees with the watchdog's, which may be 20 % off and counts in steps of 8 s. */
static bool plausible(uint32_t seconds)
{
	int32_t passed = (int32_t)(seconds - good_seconds);
	int32_t counted = (int32_t)(power_ticks - good_ticks) * TICK_SECONDS;

	if (after_reset)
		/* The cursor may be ahead where time went on from the watchdog, but not by days. */
		return journal.cursor == CURSOR_NONE || (int32_t)(seconds / 60) > journal.cursor - DAY_MINUTES;
	return passed >= counted / 2 - 2 * TICK_SECONDS && passed <= counted * 2 + 8 * TICK_SECONDS;
}

static void believe(uint32_t seconds)
{
	good_seconds = seconds;
	good_ticks = power_ticks;
	after_reset = false;
	feeder_faults &= (uint8_t)~(FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT);
}

static void doubt(uint8_t fault)
{
	if (!(feeder_faults & (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT)))
		history_add((int32_t)(good_seconds / 60), EVENT_CLOCK_LOST, fault);
	feeder_faults |= fault;
}

void feeder_time(void)
{
	uint32_t seconds = 0;
	uint8_t answer = clock_read(&seconds);

	if (answer == CLOCK_GOOD && plausible(seconds))
		believe(seconds);
	else
		doubt(answer == CLOCK_SILENT ? FAULT_CLOCK_SILENT : FAULT_CLOCK_LOST);
	/* Without the clock, time goes on from the last good reading. */
	feeder_now = good_seconds + (power_ticks - good_ticks) * TICK_SECONDS;
}

static int32_t minute_now(void)
{
	return (int32_t)(feeder_now / 60);
}

static bool time_known(void)
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

/* After a change of table or preset, what lies before is settled: a meal that the new one has earlier today is not
 * taken for a missed one. */
static void settle_until_now(void)
{
	if (time_known() && journal.cursor < minute_now())
		journal.cursor = minute_now();
	record_state();
}

void feeder_clock_was_set(uint32_t seconds)
{
	int32_t change = (int32_t)(seconds - feeder_now) / 60;

	believe(seconds);
	feeder_now = seconds;
	/* What was given by a clock that ran ahead is not given again, unless that would mean days without food. */
	if (!time_known() || journal.cursor > minute_now() + DAY_MINUTES) {
		journal.cursor = minute_now();
		record_state();
	}
	if (change > INT16_MAX)
		change = INT16_MAX;
	if (change < INT16_MIN)
		change = INT16_MIN;
	history_add(minute_now(), EVENT_CLOCK_SET, (uint16_t)change);
	settings.clock_set = seconds;
	settings_write();
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
	if (!waiting)
		history_add(minute_now(), EVENT_SUPPLY, mv);
	waiting = true;
	feeder_faults |= FAULT_SUPPLY;
	return false;
}

static void give_up(uint16_t pockets)
{
	feeder_faults |= FAULT_JAM;
	history_add(minute_now(), EVENT_JAM, pockets);
	record(0);
}

/* A record counts at most POCKETS_PER_SLOT pockets; the next one takes over, so that there is always one that
 * says how much is left. */
void feeder_turn(void)
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
		history_add(minute_now(), EVENT_RESUMED, left);
		feeder_turn();
	}
	return true;
}

/* ---- servings ---- */

static uint16_t first_missed_count;
static int32_t first_missed;

static void miss(int32_t at)
{
	if (first_missed_count == 0)
		first_missed = at;
	if (first_missed_count < 0xFFFF)
		first_missed_count++;
}

static void record_missed(void)
{
	if (first_missed_count == 0)
		return;
	feeder_faults |= FAULT_MISSED;
	history_add(first_missed, EVENT_MISSED, first_missed_count);
	first_missed_count = 0;
}

/* Settled before the wheel turns: after a cut the serving is finished, never begun again. */
static void serve(const serving_t *s)
{
	journal.cursor = s->at;
	journal.kind = KIND_SERVING;
	journal.resumed = 0;
	journal.pockets = table_pockets(s, journal.adjust, &journal.carry);
	journal_append();
	history_add(s->at, EVENT_SERVED, journal.pockets);
	feeder_turn();
}

/* Finds the newest serving after the cursor and up to now; the ones before it are missed. */
static bool newest_due(serving_t *newest)
{
	int32_t after = journal.cursor, now = minute_now();
	bool found = false;
	serving_t s;

	if (after < now - OLDEST_MISSED)
		after = now - OLDEST_MISSED;
	while (after < now) {
		uint16_t span = now - after > SEARCH_MINUTES ? SEARCH_MINUTES : (uint16_t)(now - after);
		power_tick();
		if (!table_next(after, span, journal.preset, &s)) {
			after += span;
			continue;
		}
		if (found)
			miss(newest->at);
		*newest = s;
		found = true;
		after = s.at;
	}
	return found;
}

/* Settles everything up to now; a serving that waits for the supply stays due. */
static void settle(void)
{
	serving_t s;
	bool late;

	first_missed_count = 0;
	if (!newest_due(&s))
		return;
	late = minute_now() - s.at > (int32_t)table.late;
	if (!late && !supply_good())
		return;
	waiting = false;
	if (late)
		miss(s.at);
	record_missed();
	if (late) {
		journal.cursor = s.at;
		record_state();
	} else {
		serve(&s);
	}
}

static void check_end_of_table(void)
{
	int32_t end = (table.through + 1L - TABLE_OVER_DAYS) * DAY_MINUTES;

	if (table.through < TABLE_MAX_DAY && minute_now() > end)
		feeder_faults |= FAULT_TABLE_OVER;
}

/* Arms the clock for the next serving; true if that is due already. */
static bool arm(void)
{
	serving_t s;
	int32_t next = minute_now() + DAY_MINUTES;

	if (table_next(minute_now(), SEARCH_MINUTES, journal.preset, &s))
		next = s.at;
	if (!clock_arm(next))
		doubt(FAULT_CLOCK_SILENT);
	feeder_time();
	return minute_now() >= next;
}

void feeder_decide(void)
{
	clock_release();
	feeder_time();
	if (!resume())
		return;
	if (!time_known() && !(feeder_faults & (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT))) {
		journal.cursor = minute_now();
		record_state();
	}
	if (feeder_bank == NO_BANK || !time_known())
		return;
	check_end_of_table();
	do
		settle();
	while (arm() && !waiting);
}

bool feeder_restless(void)
{
	return waiting || (feeder_faults & (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT));
}

/* ---- what the owner asks for ---- */

/* Ticks at the last presses served, a ring; an hour is 450 ticks. */
static uint32_t presses[MAX_PRESSES];
static uint8_t press_count;

#define HOUR_TICKS (3600UL / TICK_SECONDS)

static bool press_allowed(void)
{
	uint8_t recent = 0;

	for (uint8_t i = 0; i < press_count; i++)
		if (power_ticks - presses[i] <= HOUR_TICKS)
			presses[recent++] = presses[i];
	press_count = recent;
	return recent < table.button_per_hour && recent < MAX_PRESSES;
}

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
	history_add(minute_now(), EVENT_MANUAL, journal.pockets);
	return journal.pockets;
}

void feeder_adjust(uint8_t tenths)
{
	if (tenths == journal.adjust)
		return;
	journal.adjust = tenths;
	record_state();
	history_add(minute_now(), EVENT_ADJUST, tenths);
}

void feeder_preset(uint8_t index)
{
	if (index == journal.preset)
		return;
	journal.preset = index;
	settle_until_now();
	history_add(minute_now(), EVENT_PRESET, index);
}

void feeder_button(uint8_t pressed)
{
	/* Whoever presses a button has seen the light. */
	feeder_faults &= (uint8_t)~(FAULT_MISSED | FAULT_JAM);
	feeder_time();
	if (pressed & BUTTON_FEED) {
		if (feeder_manual(0, journal.token) == 0)
			power_flash(2);
		feeder_turn();
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

uint16_t feeder_table_at(uint8_t bank)
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

	if (feeder_bank != NO_BANK)
		storage_write(feeder_table_at(feeder_bank) - 1, BANK_COMMITTED);
	if (storage_read(feeder_table_at(spare) - 1) != BANK_COMMITTED)
		storage_write(feeder_table_at(spare) - 1, BANK_VOID);
	if (journal_left(INDEX_SWITCH) == 0)
		record_state();
}

void feeder_start(void)
{
	journal_open();
	settings_open();
	history_open();
	choose_bank();
	after_reset = true;
	good_seconds = time_known() ? (uint32_t)journal.cursor * 60 : 0;
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
	history_add(minute_now(), EVENT_TABLE, table.sequence);
}
