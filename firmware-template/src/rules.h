/* Day rules: which dates. In: the rules of the open table and days. Out: for each rule one byte of marks. */
#ifndef RULES_H
#define RULES_H

#include <stdbool.h>
#include <stdint.h>

#include "table_format.h"

#define RULE_HOLDS 0x01       /* on the date in hand */
#define RULE_UTC 0x40         /* dates and times of the parts are UTC */
#define RULE_EXPLICIT 0x80    /* dates given one by one: never dropped in a gap */

/* Marks by rule number, 0 being every day: a bit for each of a few days, and the two last flags above. */
extern uint8_t rule_marks[];

/* Sees to the marks of a day since 1998-01-01 and returns the bit that stands for it. Marks are kept from one search to the next. */
uint8_t rules_mark(uint16_t day);
/* Reads one rule at the cursor and sets cursor_bad if it cannot be evaluated safely. What its numbers mean is the
 * compiler's to check. Returns the flags that apply. */
uint8_t rule_read(void);

/* Whether bit n of a mask is set. */
bool mask_has(uint32_t mask, uint8_t n);
/* 1 << n, by one loop for all modules: 10 bytes saved at each place. */
uint8_t bit_of(uint8_t n);

#endif
