/* How much may be given, and when. The counts stand in the journal's record and outlast resets; they are counted in feeding time, which
 * setting the clock does not move. Who changes a record here leaves it to the caller to write it. */
#ifndef LIMITS_H
#define LIMITS_H

#include <stdbool.h>
#include <stdint.h>

/* Minutes of feeding time, modulo 65536: the clock's less all steps that setting it has made. */
uint16_t limits_time(void);
/* Minutes since a feeding time; 0 for one that is yet to come. */
uint16_t limits_since(uint16_t then);
/* Forgets what is too long ago to limit anything, before its times wrap after 45 days. */
void limits_age(void);

/* Servings by button or line that are still allowed before an hour without one, and in the day from the first. */
uint8_t limits_hour_left(void);
uint8_t limits_day_left(void);
/* Whether a serving of so many pockets is allowed now by button or line. */
bool limits_allow(uint16_t pockets);
/* Counts one that is. */
void limits_count(uint16_t pockets);

/* Counts pockets out of the hopper. */
void limits_hopper(uint16_t pockets);
/* By the count the hopper is nearly empty: an eighth is left, or less than two servings. False where nobody has said what it holds. */
bool limits_refill(void);

#endif
