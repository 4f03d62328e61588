/* The parts of meals and their times of day, read one after the other. */
#ifndef TIMES_H
#define TIMES_H

#include <stdbool.h>
#include <stdint.h>

#define NO_TIME 0xFFFF

/* The part that was read last. */
typedef struct {
	uint32_t units;   /* portion of the meal */
	uint16_t day;     /* for which times are asked, since 1998-01-01 */
	uint8_t index, bit; /* of the meal in serving.meals */
	uint8_t rule;     /* 0: every day */
	uint8_t presets;  /* mask */
	uint8_t more;     /* not 0: another part of the meal follows */
} part_t;
extern part_t part;

/* Goes before the first part of the first meal, to ask for times of a day, nominal. */
void parts_begin(uint16_t day);
/* Whether there is another part. */
bool parts_left(void);
/* Reads the next part. Returns its first time of day at or after a minute, or NO_TIME. Sets cursor_bad if it cannot be
 * evaluated safely. */
uint16_t part_read(uint16_t from);

#endif
