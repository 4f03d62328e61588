/* The parts of meals and their times of day, read at the cursor. */
#ifndef TIMES_H
#define TIMES_H

#include <stdbool.h>
#include <stdint.h>

#define NO_TIME 0xFFFF

/* One part of a meal; the cursor stands at its times. */
typedef struct {
	uint32_t units;   /* portion of the meal */
	uint8_t rule;     /* 0: every day */
	uint8_t form;
	bool in_preset;   /* the meal is served in part_preset */
	bool more;        /* another part follows */
} part_t;

extern uint8_t part_preset; /* ALL_PRESETS or an index */

/* Reads the head of a meal's first part. */
void part_first(part_t *p);
/* Reads the head of the next part, the cursor being behind the times of this one; false after the last. */
bool part_next(part_t *p);
/* The first time of day of the part at or after a minute, or NO_TIME; midnight is that of the day, nominal. Leaves the
 * cursor behind the times. */
uint16_t times_from(uint8_t form, int32_t midnight, uint16_t from);
/* Reads and checks times; false if they are malformed. */
bool times_check(uint8_t form);

#endif
