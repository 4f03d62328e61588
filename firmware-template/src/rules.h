/* Day rules: which dates. In: the rules of the open table and a run of days. Out: for each rule one byte of marks. */
#ifndef RULES_H
#define RULES_H

#include <stdbool.h>
#include <stdint.h>

#define RULES_WINDOW 6        /* days marked at once: the reach of a daily search in any zone */
#define RULE_UTC 0x40         /* dates and times of the parts are UTC */
#define RULE_EXPLICIT 0x80    /* dates given one by one: never dropped in a gap */

/* Marks by rule number, 0 being every day: bit i for the i-th day of the window, and the two flags above. */
extern uint8_t rule_marks[];

/* Fills rule_marks for count days (1 to RULES_WINDOW) from a day since 1998-01-01. */
void rules_mark(uint16_t first, uint8_t count);
/* Reads one rule at the cursor and sets cursor_bad if it cannot be evaluated safely. What its numbers mean is the
 * compiler's to check. Returns RULE_UTC and RULE_EXPLICIT as they apply. */
uint8_t rule_check(void);

#endif
