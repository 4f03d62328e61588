/* The parts of meals and their times of day, read at the cursor. */
#ifndef TIMES_H
#define TIMES_H

#include <stdbool.h>
#include <stdint.h>

#define NO_TIME 0xFFFF

/* The part of a meal that was read last; the cursor stood at its times then. */
typedef struct {
	uint32_t units;   /* portion of the meal */
	uint8_t rule;     /* 0: every day */
	uint8_t form;
	uint8_t presets;  /* mask; 0: all */
	bool more;        /* another part follows */
} part_t;
extern part_t part;

/* Reads the head of a meal's first part. */
void part_first(void);
/* Reads the head of the next part, the cursor being behind the times of this one; false after the last. */
bool part_next(void);
/* The first time of day of the part at or after a minute, or NO_TIME; midnight is that of the day, nominal. Leaves the
 * cursor behind the times. Sets cursor_bad if they cannot be evaluated safely. */
uint16_t times_from(int32_t midnight, uint16_t from);

#endif
