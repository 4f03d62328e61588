#include "servings.h"

#include "board.h"
#include "bytes.h"
#include "calendar.h"
#include "clock.h"
#include "faults.h"
#include "feeder.h"
#include "flags.h"
#include "history.h"
#include "journal.h"
#include "limits.h"
#include "outlined.h"
#include "banks.h"
#include "power.h"
#include "table.h"
#include "timekeeping.h"
#include "wheel.h"

#define LEAST_LATE 15    /* minutes that a serving which was begun may take, however little the table's policy allows */
#define RESET_BY_PIN 0x02 /* EXTRF of MCUSR alone */
#define RESET_BY_WATCHDOG 0x08 /* WDRF */
#define REST_OF_TURN 7   /* milliseconds of a pocket's turn for each minute of rest: 24 hours of attempts push for less than a minute */

static void note(uint8_t event, uint16_t value)
{
	history_add(&feeder.now.minute, event, value);
}

/* ---- the record ---- */

/* Pockets of its record that are left are those of journal.pockets whenever the wheel does not turn. */
void feeder_record(void)
{
	if (journal.pockets == 0)
		journal.kind = KIND_STATE;
	journal_append();
}

bool serving_pending(void)
{
	return journal.pockets > 0;
}

#if PRESETS_END

static int32_t preset_end; /* see preset_ends */

/* The preset in force ends by itself, and has not yet: sets preset_end. A cursor beyond that instant says that it has passed: a preset chosen since
 * stays. So nothing but the cursor is kept, and record and end are one write. */
OUTLINED static bool preset_ends(void)
{
	if (journal.preset == 0 || table.presets_until == 0)
		return false;
	preset_end = table_presets_end();
	return journal.cursor < preset_end;
}

OUTLINED bool servings_preset_over(void)
{
	return preset_ends() && minutes_since(&preset_end) >= 0;
}

bool servings_preset_was_over(void)
{
	return journal.preset && table.presets_until && !preset_ends() && minutes_since(&preset_end) < 0;
}

/* Everything up to an instant is settled: the end of a preset too. */
OUTLINED static void move_cursor(const int32_t *minute)
{
	if (preset_ends() && *minute >= preset_end) {
		journal.preset = 0;
		history_add(&preset_end, EVENT_PRESET, 0);
	}
	bytes_copy4(&journal.cursor, minute);
}

#else

static void move_cursor(const int32_t *minute)
{
	bytes_copy4(&journal.cursor, minute);
}

#endif

void servings_settle_to(const int32_t *minute)
{
	move_cursor(minute);
	feeder_record();
}

void servings_skip_to_now(void)
{
	flags.armed = false;
	if (minutes_since(&journal.cursor) > 0)
		move_cursor(&feeder.now.minute);
	feeder_record();
}

static uint8_t first_pocket; /* of the next attempt, as wheel_turn takes it */

/* What is left after a cut. Without a switch, or one that is trusted, a pocket that was cut is not finished. True if there was one. */
static bool resume(bool hung)
{
	bool by_switch = INDEX_SWITCH && !(journal.faults & FAULT_SWITCH);
	uint8_t cut = journal_resume(by_switch, hung);

	if (INDEX_SWITCH && cut)
		first_pocket = by_switch && cut == CUT_NOT_TURNED ? POCKET_CUT : POCKET_AFTER_CUT;
	return cut;
}

void servings_restart(void)
{
	bool serving = journal.pockets > 0;
	bool cut = resume(power_reset_flags & RESET_BY_WATCHDOG);

	if (!serving)
		return;
	/* Whoever opens a port, or presses the reset button, makes no attempt fail. */
	if (power_reset_flags == RESET_BY_PIN && journal.fails > 0)
		journal.fails--;
	if (!cut && journal.pockets == 0)
		journal.fails = 0; /* it was finished */
	else if (cut || journal.fails >= ATTEMPTS_AT_ONCE)
		faults_raise(FAULT_POWER);
}

/* ---- attempts ---- */

bool supply_good(void)
{
	uint16_t mv = power_supply();

	if (!power_low()) {
		feeder.faults &= (uint16_t)~FAULT_SUPPLY;
		return true;
	}
	if (!(feeder.faults & FAULT_SUPPLY))
		history_add_once(&feeder.now.minute, EVENT_SUPPLY, mv);
	feeder.faults |= FAULT_SUPPLY;
	return false;
}

/* Attempts that fail are followed by others, then by a rest: of the servo, of the EEPROM, and of the supply. */
static bool resting(void)
{
	uint16_t rest = FIRST_REST;

	if (journal.fails < ATTEMPTS_AT_ONCE || !(journal.guard & GUARD_FED))
		return false;
	if (journal.fails > ATTEMPTS_AT_ONCE) {
		rest = table.turn_ms / REST_OF_TURN;
		if (rest < LATER_REST)
			rest = LATER_REST;
	}
	return limits_since(journal.tried) < rest;
}

/* The wheel may turn for the plan now; else what is due waits. */
static bool may_turn(void)
{
	if (!resting() && supply_good())
		return true;
	flags.waiting = true;
	return false;
}

/* Writes the record before the wheel turns: it counts as an attempt that failed until it is known to have done its work, whatever
 * resets the chip meanwhile. */
static void begin_attempt(void)
{
	if (journal.fails < 0xFF)
		journal.fails++;
	if ((journal.kind & KIND_MASK) != KIND_MANUAL) {
		journal.tried = limits_time();
		journal.guard |= GUARD_FED;
	}
	journal_append();
}

static void attempt_failed(const wheel_result_t *result)
{
	uint16_t faults = FAULT_EMPTY;

	if (result->verdict == WHEEL_SUPPLY) {
		/* as if the supply had failed altogether */
		faults = FAULT_SUPPLY;
		resume(false);
	} else {
		journal.pockets -= result->turned;
		if (result->verdict == WHEEL_STUCK)
			faults = FAULT_JAM;
	}
	if (faults_raise(faults) && faults == FAULT_JAM)
		note(EVENT_JAM, journal.pockets);
	feeder_record();
}

/* Turns what the record has; false if some is left. A record counts at most POCKETS_PER_SLOT pockets; the next one takes over, so that
 * there is always one that says how much is left. */
static bool turn(void)
{
	bool changed = false;

	while (journal.pockets > 0) {
		uint8_t some = journal.pockets > POCKETS_PER_SLOT ? POCKETS_PER_SLOT : (uint8_t)journal.pockets;
		wheel_result_t result = wheel_turn(some, table.turn_ms, table.trim_us, first_pocket);

		first_pocket = POCKET_WHOLE;
		changed |= faults_raise(result.faults);
		if (result.verdict != WHEEL_DONE) {
			attempt_failed(&result);
			return false;
		}
		journal.pockets -= some;
		if (journal.pockets > 0) {
			journal_append();
			changed = false;
		} else {
			journal_step(some + 1);
		}
	}
	journal.fails = 0;
	if (changed)
		feeder_record();
	return true;
}

static void give_up(void)
{
	note(EVENT_LEFT_OUT, journal.pockets);
	faults_raise(FAULT_MISSED);
	journal.pockets = 0;
	feeder_record();
}

/* It is too late for what is left of the serving in the record. One that was cut is finished however long the power was off, unless it
 * goes on failing. */
static bool too_late(void)
{
	if (journal.fails < ATTEMPTS_AT_ONCE)
		return false;
	if ((journal.kind & KIND_MASK) == KIND_MANUAL)
		return true;
	return minutes_since(&journal.cursor) > (table.late > LEAST_LATE ? (int32_t)table.late : LEAST_LATE);
}

/* Goes on with a serving that is not finished, in as many attempts as are allowed now. */
static void finish(void)
{
	while (serving_pending()) {
		if (too_late()) {
			give_up();
			return;
		}
		if (!may_turn())
			return;
		note(EVENT_RESUMED, journal.pockets);
		begin_attempt();
		turn();
	}
}

/* ---- what is due ---- */

/* Gives `serving`. It is settled before the wheel turns: after a cut the serving is finished, never begun again. */
static void serve(void)
{
	uint16_t pockets = table_pockets(journal.adjust, &journal.carry);

	move_cursor(&serving.at);
	journal.kind = KIND_SERVING;
	journal.pockets = pockets;
	if (COUNT_HOPPER)
		journal.last = pockets < 0xFF ? (uint8_t)pockets : 0xFF;
	journal.guard &= (uint8_t)~GUARD_STEPPED;
	limits_hopper(pockets);
	if (pockets > 0)
		begin_attempt();
	else
		feeder_record();
	history_add(&serving.at, EVENT_SERVED, pockets);
	turn();
}

bool feeder_next(const int32_t *after, uint16_t minutes)
{
	flags.armed = false;
	power_tick();
#if PRESETS_END
	if (preset_ends())
		return table_next_ending(*after, minutes, journal.preset, preset_end);
#endif
	return table_next(*after, minutes, journal.preset);
}

/* Finds what is due after the cursor and up to now. Returns how much, and the newest as `serving`. */
static uint16_t find_due(void)
{
	int32_t left = minutes_since(&serving.at);
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
	while (minutes_since(&feeder.searched) > OLDEST_MISSED)
		bytes_add(&feeder.searched, MINUTES_PER_DAY);
	while ((left = minutes_since(&feeder.searched)) > 0) {
		uint16_t span = left < SEARCH_MINUTES ? (uint16_t)left : SEARCH_MINUTES;
		if (!feeder_next(&feeder.searched, span)) {
			bytes_add(&feeder.searched, (int16_t)span);
			continue;
		}
		if (KEEP_HISTORY && found == 0)
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

/* The newest that is due may still be given: not too late, and not so soon after another that only a step of the clock explains it. */
static bool may_serve(void)
{
	return minutes_since(&serving.at) <= table.late && journal.guard != (GUARD_FED | GUARD_STEPPED);
}

/* Settles everything up to now; a serving that waits for the supply or a rest stays due. */
static void settle(void)
{
	uint16_t missed = find_due();
	bool give;

	flags.waiting = false;
	if (missed == 0) {
#if PRESETS_END
		if (servings_preset_over())
			servings_settle_to(&preset_end);
#endif
		return;
	}
	give = may_serve();
	if (give) {
		if (!may_turn())
			return;
		missed--;
	}
	if (missed > 0) {
		faults_raise(feeder.faults & FAULT_SUPPLY ? FAULT_MISSED | FAULT_SUPPLY : FAULT_MISSED);
		history_add(&feeder.first, EVENT_MISSED, missed);
	}
	if (give) {
		serve();
		return;
	}
	journal.guard &= (uint8_t)~GUARD_STEPPED;
	servings_settle_to(&serving.at);
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
		banks_reopen(); /* the wheel may have turned since: time enough for a bit to flip */
		if (feeder_next(&feeder.now.minute, SEARCH_MINUTES)) {
			bytes_copy4(&feeder.next_due, &serving.at);
			/* Not if it may have been given by a clock that ran ahead, nor if another waits. */
			if (minutes_since(&journal.cursor) >= 0 && !flags.waiting)
				flags.armed = true;
		}
	}
#if PRESETS_END
	/* What was due before comes first; then the end is seen when it comes. */
	if (!flags.waiting && preset_ends() && preset_end < feeder.next_due) {
		bytes_copy4(&feeder.next_due, &preset_end);
		flags.armed = false;
	}
#endif
	if (!clock_arm(&feeder.next_due))
		time_raise(FAULT_CLOCK_SILENT);
	feeder_time();
	return minutes_since(&feeder.next_due) >= 0;
}

void feeder_decide(void)
{
	clock_release();
	feeder_time();
	limits_age();
	banks_reopen();
	flags.waiting = false;
	finish();
	if (!time_known() && !(feeder.faults & (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT)))
		servings_settle_to(&feeder.now.minute);
	if (feeder.bank == NO_BANK || !time_known())
		return;
	check_end_of_table();
	do {
		/* One that is not finished comes first. */
		if (!serving_pending()) {
			settle();
			finish();
		}
	} while (arm() && !flags.waiting);
}

void feeder_check(void)
{
	feeder_time();
	if (flags.waiting || minutes_since(&feeder.next_due) >= 0)
		feeder_decide();
}

OUTLINED bool feeder_needs_ticks(void)
{
	return flags.waiting || (feeder.faults & (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT));
}

/* ---- by hand ---- */

void serving_ask(uint16_t pockets)
{
	journal.kind = KIND_MANUAL;
	journal.pockets = pockets;
	limits_hopper(pockets);
	begin_attempt();
	note(EVENT_MANUAL, pockets);
	flags.asked = true;
}

void serving_turn_asked(void)
{
	if (flags.asked && !turn())
		give_up();
	flags.asked = false;
}
