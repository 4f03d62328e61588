/* The three buttons, to ground on PD3 (feed), PD4 (portion), PD5 (preset). Out: which were pressed anew. */
#ifndef BUTTONS_H
#define BUTTONS_H

#include <stdbool.h>
#include <stdint.h>

#define BUTTON_FEED 0x08
#define BUTTON_PORTION 0x10
#define BUTTON_PRESET 0x20

void buttons_init(void);
/* The buttons that went down since the last call, debounced; one that stays down is reported once. Takes up to 60 ms if
 * something moved, else no time. */
uint8_t buttons_pressed(void);
/* Whether one of those buttons is down at this moment. */
bool buttons_held(uint8_t which);

#endif
