/* Reads the fields of a table one after the other. One reader for all modules: the firmware is single-threaded and
 * no interrupt reads tables. In: storage offsets. Out: numbers, in the encodings of FORMAT.md. */
#ifndef CURSOR_H
#define CURSOR_H

#include <stdbool.h>
#include <stdint.h>

extern uint16_t cursor_at;  /* storage offset of the next byte */
extern uint16_t cursor_end; /* first offset that must not be read */
extern bool cursor_bad;     /* a read went beyond the end; never cleared here */

/* The three variables by a call: two bytes at each place instead of six to eight. */
uint16_t cursor_place(void);
void cursor_to(uint16_t at);
void cursor_fail(void); /* sets cursor_bad */

/* Each returns zero beyond the end. */
uint8_t cursor_u8(void);
uint16_t cursor_u16(void);
/* Seven bits a byte, the highest first. That a number takes at most four bytes and no more than needed is the compiler's to check. */
uint32_t cursor_number(void);
/* Quarter hours in a signed byte, as minutes. */
int16_t cursor_quarters(void);
/* Zigzag; at most 32767 either way. */
int16_t cursor_signed(void);

#endif
