/* What watches the wheel: the index switch, which closes once per pocket, and the light barrier at the outlet, each on a pin with its
 * pull-up, so that a broken wire reads as open and as dark where the board says nothing else. They are looked at whenever one of their pins changes, and once in each
 * period of the servo's pulse: a switch counts as open when it was open for a whole period, which is longer than contacts bounce.
 * Registers: the port of each, and its PCMSK. */
#ifndef SENSORS_H
#define SENSORS_H

#include <stdbool.h>
#include <stdint.h>

typedef struct {
	bool index_closed;  /* in this period or the one before */
	bool index_reached; /* it closed where the wheel had not been; cleared by whoever waits for it */
	bool index_changed; /* it opened or closed; cleared by whoever waits for it */
	bool backwards;     /* set while the wheel turns back: what is passed then is passed once more */
	uint8_t owed;       /* places that were left backwards: passed once more, they do not count again. Kept when the attempt ends */
	bool dark;          /* the beam is broken now */
	uint8_t fell;       /* pockets in whose time the beam was broken anew */
} sensors_t;
extern sensors_t sensors;

/* Pull-ups on, and the first look. */
void sensors_on(void);
void sensors_off(void);
/* A period of the pulse begins. */
void sensors_period(void);
void sensors_look(void);
/* The time of a pocket is over. */
void sensors_next_pocket(void);

#endif
