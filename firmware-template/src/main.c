/* The feeder's main loop: answer the line, look at the buttons, serve what is due, sleep. */
#include <avr/interrupt.h>

#include "board.h"
#include "buttons.h"
#include "clock.h"
#include "faults.h"
#include "feeder.h"
#include "flags.h"
#include "journal.h"
#include "line.h"
#include "power.h"
#include "table.h"

#define WINK_TICKS 8 /* about a minute */
#define CHECK_TICKS 112 /* about 15 minutes: a broken interrupt wire makes a serving late, not lost */

/* Decides until the clock lets go of the interrupt line. One that stays low (a shorted wire, a dead clock) is left alone until it
 * has risen: the 15-minute check stands in for it, and the CPU sleeps. */
static void answer_clock(void)
{
	static bool stuck;

	if (!clock_alarmed())
		stuck = false;
	/* twice, because an alarm may ring while the one before is answered */
	for (uint8_t tries = 0; !stuck && clock_alarmed() && tries < 2; tries++)
		feeder_decide();
	stuck = clock_alarmed();
}

/* The light winks, where there is room for that: the preset in force is not the first. */
static bool winks(void)
{
	return PRESETS_END && journal.preset != 0;
}

/* Ticks until the next thing that only time brings. */
static uint8_t ticks_to_sleep(void)
{
	if (faults_shown() || feeder_needs_ticks())
		return 1;
	return winks() ? WINK_TICKS : CHECK_TICKS;
}

/* The first fault, as flashes: see faults_light. */
static void show_faults(void)
{
	static uint8_t winked; /* ticks */
	uint8_t code = faults_light();

	if (code && power_show(code))
		faults_were_shown();
	if (code == 0 && winks() && (uint8_t)(power_ticks - winked) >= WINK_TICKS) {
		winked = (uint8_t)power_ticks;
		power_wink();
	}
}

/* Power-down unless the line is in use; a wake-up by the line opens it. The line is idle for seconds by then, so the last
 * answer is out. */
static void rest(void)
{
	if (uart_busy())
		power_sleep(true, 1);
	else if (power_sleep(false, ticks_to_sleep()))
		uart_wake();
}

int main(void)
{
	uint16_t shown = 0, checked = 0; /* ticks */

	power_init();
	buttons_init();
	uart_init();
	sei();
	clock_init();
	feeder_start();
	feeder_decide();
	for (;;) {
		uint8_t pressed;

		power_tick();
		power_look();
		if (line_ready())
			line_answer();
		pressed = buttons_pressed();
		if (pressed)
			feeder_button(pressed);
		answer_clock();
		if (feeder_needs_ticks() || (uint16_t)(power_ticks - checked) >= CHECK_TICKS) {
			checked = power_ticks;
			feeder_check();
		}
		if (power_ticks != shown) {
			uart_ticked();
			show_faults();
			shown = power_ticks; /* the flashes may add one */
		}
		if (!line_ready())
			rest();
	}
}
