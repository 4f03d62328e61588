/* The three buttons, each from a pin of port D to ground. Out: which were pressed anew. */
#ifndef BUTTONS_H
#define BUTTONS_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

#define BUTTON_FEED (1 << FEED_BIT)
#define BUTTON_PORTION (1 << PORTION_BIT)
#define BUTTON_PRESET (1 << PLAN_BIT)

void buttons_init(void);
/* The buttons that went down since the last call, debounced; one that stays down is reported once. Takes up to 60 ms if
 * something moved, else no time. */
uint8_t buttons_pressed(void);
/* Whether one of those buttons is down at this moment. */
bool buttons_held(uint8_t which);
/* Those that are down now do nothing. */
void buttons_forget(void);

#endif
