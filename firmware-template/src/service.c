#include "service.h"

#include "board.h"

#if SERVICE

#include <avr/io.h>
#include <stdbool.h>

#include "buttons.h"
#include "calendar.h"
#include "clock.h"
#include "feeder.h"
#include "flags.h"
#include "journal.h"
#include "limits.h"
#include "line_format.h"
#include "power.h"
#include "sensors.h"
#include "servings.h"
#include "table.h"
#include "timekeeping.h"
#include "wheel.h"

enum { LOOK, WATCH, LIGHT, HOLD, RING, FORWARD, BACK, TWITCH, ACTIONS };

#define MOST 8           /* seconds, flashes, pockets */
#define TRIM_MOST 60     /* us: a wheel held so far off its centre turns less than a pocket a second */
#define HALF_FLASH_MS 250
#define SOON 2           /* minutes: a serving of the plan that is due then comes first */
#define SETTLE_MS 30     /* contacts bounce */
#define TWITCH_PINS (PORTB_FREE & (1 << 0 | 1 << 2 | 1 << 3 | 1 << 4))

/* Bits of BEFORE, AFTER and SEEN; those of the bus follow from bit 6 on, as clock_wires has them. */
#define WIRE_INT 0x01
#define WIRE_FEED 0x02
#define WIRE_PORTION 0x04
#define WIRE_PLAN 0x08
#define WIRE_INDEX 0x10
#define WIRE_BEAM 0x20
#define WATCHED 0x3E     /* contacts, not the clock */
#define WIRES_BUS 6

uint8_t service_token;
service_wires_t service_wires;

static uint8_t wires(void)
{
	uint8_t w = 0;

	sensors_look();
	if (clock_alarmed())
		w |= WIRE_INT;
	if (buttons_held(BUTTON_FEED))
		w |= WIRE_FEED;
	if (buttons_held(BUTTON_PORTION))
		w |= WIRE_PORTION;
	if (buttons_held(BUTTON_PRESET))
		w |= WIRE_PLAN;
#if INDEX_SWITCH
	if (AT_LEVEL(INDEX, INDEX_HIGH))
		w |= WIRE_INDEX;
#endif
#if LIGHT_BARRIER
	if (AT_LEVEL(BARRIER, BARRIER_HIGH))
		w |= WIRE_BEAM;
#endif
	return w;
}

/* Looks at the wires for a millisecond's time. */
static void look(void)
{
	power_wait_ms(1);
	service_wires.after = wires();
	service_wires.seen |= service_wires.after ^ service_wires.before;
}

static void look_for(uint16_t ms)
{
	for (; ms > 0; ms--)
		look();
}

static void watch(uint8_t seconds, uint8_t rest)
{
	for (uint16_t ms = seconds * 1000u; ms > 0; ms--) {
		look();
		if ((service_wires.after ^ rest) & WATCHED) {
			look_for(SETTLE_MS);
			break;
		}
	}
	buttons_forget();
}

static void light(uint8_t count)
{
	for (; count > 0; count--) {
		TO_LEVEL(LED, LED_HIGH);
		power_wait_ms(HALF_FLASH_MS);
		TO_LEVEL(LED, !LED_HIGH);
		power_wait_ms(HALF_FLASH_MS);
	}
}

/* Lets the clock ring, and sets its alarms again. */
static uint8_t ring(uint8_t seconds)
{
	if (!clock_ring())
		return LINE_NO_CLOCK;
	clock_release();
	for (uint16_t ms = seconds * 1000u; ms > 0 && !service_wires.seen; ms--)
		look();
	clock_arm(&feeder.next_due);
	clock_release();
	look();
	flags.armed = false;
	feeder_decide();
	return LINE_OK;
}

/* The wheel may turn for a test. */
static bool may_turn(void)
{
	feeder_time();
	limits_age();
	if (serving_pending() || flags.waiting || !supply_good())
		return false;
	return feeder.bank == NO_BANK || minutes_since(&feeder.next_due) < -SOON;
}

/* Takes so many pockets of those that may be given by hand in a day: a stop pulse that is off may let as many fall. A board without a
 * table feeds nobody. */
static bool count_by_hand(uint8_t pockets)
{
	if (feeder.bank == NO_BANK)
		return true;
	if (pockets > (uint8_t)(MAX_ASKED_DAY - journal.asked))
		return false;
	if (journal.asked == 0)
		journal.day = limits_time();
	journal.asked += pockets;
	feeder_record();
	return true;
}

static uint8_t hold(uint8_t seconds, int16_t trim)
{
	if (!count_by_hand(seconds))
		return LINE_REFUSED;
	wheel_hold(seconds, table.turn_ms, trim);
	return LINE_OK;
}

/* A serving by hand, with its record and its limits. */
static uint8_t forward(uint8_t pockets)
{
	if (pockets == 0)
		return LINE_BAD_RANGE;
	if (feeder.bank != NO_BANK) {
		if (table.button_units == 0 || !limits_allow(pockets))
			return LINE_REFUSED;
		limits_count(pockets);
	}
	serving_ask(pockets);
	return LINE_OK;
}

static uint8_t back(int16_t trim)
{
	wheel_to_and_fro(table.turn_ms, trim);
	if (sensors.index_changed)
		service_wires.seen |= WIRE_INDEX;
	sensors_on();
	look();
	return LINE_OK;
}

static uint8_t turn(uint8_t action, uint8_t count, int16_t trim)
{
	if (!may_turn())
		return LINE_REFUSED;
	switch (action) {
	case HOLD:
		return hold(count, trim);
	case FORWARD:
		return forward(count);
	case BACK:
		return back(trim);
	default:
		if (!count_by_hand(1))
			return LINE_REFUSED;
		wheel_twitch(count);
		return LINE_OK;
	}
}

static uint8_t run_action(uint8_t action, uint8_t count, int16_t trim)
{
	switch (action) {
	case WATCH:
		watch(count, (uint8_t)trim);
		return LINE_OK;
	case LIGHT:
		light(count);
		return LINE_OK;
	case RING:
		return ring(count);
	default:
		return turn(action, count, trim);
	}
}

static bool in_range(uint8_t action, uint8_t count, int16_t trim)
{
	if (action >= ACTIONS || count > MOST)
		return false;
	if (action == TWITCH)
		return TWITCH_PINS & 1 << count;
	return action == WATCH || (trim <= TRIM_MOST && trim >= -TRIM_MOST);
}

uint8_t service(uint8_t token, uint8_t action, uint8_t count, int16_t trim)
{
	uint8_t status = LINE_OK;

	if (action != LOOK && token == service_token)
		return LINE_OK; /* its answer was lost: the wires stand as they were */
	if (!in_range(action, count, trim) || (action != LOOK && token != (uint8_t)(service_token + 1)))
		return LINE_BAD_RANGE;
	sensors_on();
	service_wires.before = service_wires.after = wires();
	service_wires.seen = 0;
	if (action == LOOK)
		service_wires.before |= (uint16_t)clock_wires() << WIRES_BUS;
	else
		status = run_action(action, count, trim);
	sensors_off();
	if (action != LOOK && status == LINE_OK)
		service_token = token;
	return status;
}

#endif
