#include "buttons.h"

#include <avr/io.h>

#include "board.h"
#include "power.h"

#define BUTTONS (BUTTON_FEED | BUTTON_PORTION | BUTTON_PRESET)
#define SETTLE_MS 20 /* contacts bounce for a few milliseconds */

static uint8_t held;

static uint8_t down(void)
{
	return (uint8_t)~PIND & BUTTONS;
}

void buttons_init(void)
{
	power_wait_ms(1); /* the pull-ups charge the wires */
	held = down();    /* one that is stuck while the power comes back does nothing */
}

uint8_t buttons_pressed(void)
{
	uint8_t now = down(), before, fresh;

	if (now == held)
		return 0;
	for (uint8_t tries = 0; tries < 3; tries++) {
		before = now;
		power_wait_ms(SETTLE_MS);
		now = down();
		if (now == before)
			break;
	}
	fresh = now & (uint8_t)~held;
	held = now;
	return fresh;
}

bool buttons_held(uint8_t which)
{
	return down() & which;
}

void buttons_forget(void)
{
	held = down();
}
