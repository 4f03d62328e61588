/* Tests on the bench, asked for over the line: wires, light, interrupt of the clock, servo. In: an action (MESSAGES.md, SERVICE). Out:
 * what the wires did. Each ends by itself within eight seconds, whatever becomes of the line; none that turns the servo begins while a
 * serving is due or not finished, nor beyond what may be given by hand in a day. */
#ifndef SERVICE_H
#define SERVICE_H

#include <stdint.h>

typedef struct {
	uint16_t before, after, seen; /* as ANS_SERVICE_BEFORE and those after it */
} service_wires_t;

extern uint8_t service_token; /* of the last action that was done */
extern service_wires_t service_wires;

/* Does it, and returns a LINE_ status; pockets forwards are turned by serving_turn_asked. */
uint8_t service(uint8_t token, uint8_t action, uint8_t count, int16_t trim);

#endif
