/* The feeder as a whole: how it starts, and what its owner asks of it. */
#include "feeder.h"

#include "banks.h"
#include "board.h"
#include "buttons.h"
#include "calendar.h"
#include "clock.h"
#include "faults.h"
#include "flags.h"
#include "history.h"
#include "journal.h"
#include "limits.h"
#include "outlined.h"
#include "power.h"
#include "servings.h"
#include "table.h"
#include "timekeeping.h"

feeder_t feeder NOINIT;

#define RESET_BY_WATCHDOG 0x08 /* WDRF of MCUSR */
#define HOPPER_FORGET 0xFFFE
#define HOPPER_FULL 0xFFFF
#define HOLD_REFILLED_MS 3000 /* the portion button, held so long and let go, says that the hopper was filled */
#define HOLD_STUCK_MS 10000
#define HOLD_STEP_MS 20

static void note(uint8_t event, uint16_t value)
{
	history_add(&feeder.now.minute, event, value);
}

void feeder_start(void)
{
	bool torn = power_was_lost(); /* only a loss of power tears bytes */
	bool clean; /* no cell can have been left half written, and nothing half given */
	uint16_t faults;

	journal_open();
	faults = journal.faults;
	clean = (!torn || journal_sealed()) && journal.pockets == 0;
	history_open();
	time_restart();
	feeder_time(); /* before anything is noted */
	banks_choose();
	servings_restart();
	if (power_reset_flags & RESET_BY_WATCHDOG)
		faults_raise(FAULT_RESTARTED);
	if (!clean && torn)
		banks_rewrite_commits();
	if (!clean || journal.faults != faults)
		feeder_record();
	history_add_once(&feeder.now.minute, EVENT_STARTED, power_reset_flags);
}

/* ---- what the owner asks for ---- */

uint16_t feeder_manual(uint32_t units, uint8_t token)
{
	int32_t carry = journal.carry;
	uint16_t pockets;

	if (feeder.bank == NO_BANK || serving_pending() || table.button_units == 0)
		return 0;
	/* Not adjusted: a press of one pocket gives one. */
	pockets = table_pockets_of(units ? units : table.button_units, 10, &carry);
	limits_age();
	if (!limits_allow(pockets) || !supply_good())
		return 0;
	limits_count(pockets);
	journal.carry = carry;
	journal.token = token;
	serving_ask(pockets);
	return pockets;
}

OUTLINED void feeder_adjust(uint8_t tenths)
{
	if (tenths == journal.adjust)
		return;
	journal.adjust = tenths;
	feeder_record();
	note(EVENT_ADJUST, tenths);
}

OUTLINED void feeder_preset(uint8_t index)
{
#if PRESETS_END
	if (index == journal.preset && !servings_preset_over())
		return;
#else
	if (index == journal.preset)
		return;
#endif
	feeder_decide(); /* what the old preset has due is given first */
#if PRESETS_END
	if (servings_preset_over()) /* still: what was due before could not be given */
		servings_skip_to_now();
#endif
	journal.preset = index;
#if PRESETS_END
	if (servings_preset_was_over())
		journal.preset = index = 0;
#endif
	servings_skip_to_now();
	note(EVENT_PRESET, index);
	feeder_decide(); /* the clock is armed for the new one's next serving, which may come sooner */
}

void feeder_hopper(uint16_t holds)
{
	if (!COUNT_HOPPER || holds == 0)
		return;
	if (holds != HOPPER_FULL)
		journal.holds = holds == HOPPER_FORGET ? 0 : holds;
	journal.left = journal.holds;
	feeder_record();
	note(EVENT_REFILLED, journal.holds);
}

/* The clock's step in seconds, as the history has it: 8000 hex for more than sixteen bits can say. */
static uint16_t step_seconds(int32_t step)
{
	return step > 0x7FFF || step < -0x7FFF ? 0x8000 : (uint16_t)step;
}

bool feeder_set_clock(uint32_t seconds)
{
	uint32_t before;
	int32_t minute, step;
	bool clock_lost;

	feeder_time(); /* what the watchdog has counted is taken up first */
	before = feeder.now.seconds;
	minute = feeder.now.minute;
	clock_lost = feeder.faults & (FAULT_CLOCK_LOST | FAULT_CLOCK_SILENT);
	if (!clock_set(seconds))
		return false;
	time_from_clock();
	flags.armed = false;
	step = feeder.now.minute - minute;
	journal.stepped += (uint16_t)step;
	/* From a time that was not known any step forwards is right, and no serving comes twice by it. */
	if (step < -STEPPED_MOST || (step > STEPPED_MOST && !clock_lost))
		journal.guard |= GUARD_STEPPED;
	/* A clock that was ahead has settled what is yet to come: to wait for it would mean hours or days without food. A cursor that is
	 * not known is ahead of all. */
	if (step < -STEPPED_MOST || minutes_since(&journal.cursor) < -MINUTES_PER_DAY)
		servings_settle_to(&feeder.now.minute);
	else if (step != 0)
		feeder_record();
	note(EVENT_CLOCK_SET, step_seconds((int32_t)(feeder.now.seconds - before)));
	return true;
}

/* The portion button: a short press steps the portions, a long one says that the hopper is full. One that is stuck says neither. */
static void portion_button(void)
{
	uint16_t held = 0;

	for (; COUNT_HOPPER && buttons_held(BUTTON_PORTION) && held < HOLD_STUCK_MS; held += HOLD_STEP_MS)
		power_wait_ms(HOLD_STEP_MS);
	if (held >= HOLD_STUCK_MS)
		return;
	if (held >= HOLD_REFILLED_MS) {
		feeder_hopper(HOPPER_FULL);
		power_flash(1);
		return;
	}
	feeder_adjust(journal.adjust == 12 ? 8 : journal.adjust + 1);
	power_flash(journal.adjust - 7);
}

void feeder_button(uint8_t pressed)
{
	faults_acknowledge_shown();
	feeder_time();
	if (pressed & BUTTON_FEED) {
		if (feeder_manual(0, journal.token) == 0)
			power_flash(2);
		serving_turn_asked();
	}
	if (pressed & BUTTON_PORTION)
		portion_button();
	if (pressed & BUTTON_PRESET && feeder.bank != NO_BANK) {
		uint8_t next = journal.preset + 1;
		feeder_preset(next < table.presets ? next : 0);
		power_flash(journal.preset + 1);
	}
}
