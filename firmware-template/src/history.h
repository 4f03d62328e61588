/* The history: what happened, for the owner. In the memory beside the clock chip where it answers, else in what is
 * left of the AVR's own. Losing it never affects feeding: every failure here is ignored. */
#ifndef HISTORY_H
#define HISTORY_H

#include <stdbool.h>
#include <stdint.h>

#include "table_format.h"

/* The memory beside the clock chip, given by clock.c; false if it does not answer, and what was read is worth nothing then. A write stays
 * within a page. */
bool memory_read(uint16_t at, uint8_t *to, uint8_t n);
void memory_write(uint16_t at, uint8_t *from, uint8_t n);

/* Finds out which memory answers and where the newest record is. */
void history_open(void);
/* Adds a record; minute points to that of UTC since 2000. */
void history_add(const int32_t *minute, uint8_t event, uint16_t value);
/* The same, unless one of the last few records says it and is less than an hour old: a fault that stays must not wear the memory out. */
void history_add_once(const int32_t *minute, uint8_t event, uint16_t value);
/* Copies what a slot holds into eight bytes; false if that is no record, and what was copied is worth nothing then. A slot beyond the
 * ring holds anything. */
bool history_get(uint16_t slot, uint8_t *raw);
extern uint16_t history_newest; /* slot of the newest record */
/* Records that the memory in use holds; 0 on a chip of 512 bytes without a memory beside the clock. */
uint16_t history_slots(void);

#endif
