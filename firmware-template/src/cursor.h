/* Reads the fields of a table one after the other. One reader for all modules: the firmware is single-threaded and
 * no interrupt reads tables. In: storage offsets. Out: numbers, in the encodings of FORMAT.md. */
#ifndef CURSOR_H
#define CURSOR_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __AVR__
#include <avr/io.h>
#endif

/* What a table must fulfil besides what the firmware's own safety rests on: FORMAT.md says all of it, and the compiler, the uploader and
 * every firmware with room for it refuse the same tables. Chips of 16 KiB have no room. */
#if defined(FLASHEND) && FLASHEND < 0x7FFF
#define EXPECT(condition) ((void)sizeof(condition))
#else
#define EXPECT(condition) do { if (!(condition)) cursor_fail(); } while (0)
#endif

extern uint16_t cursor_at;  /* storage offset of the next byte */
extern uint16_t cursor_end; /* first offset that must not be read */
extern bool cursor_bad;     /* something read is none of the format's; never cleared here */

/* The three variables by a call: two bytes at each place instead of six to eight. */
uint16_t cursor_place(void);
void cursor_to(uint16_t at);
void cursor_fail(void); /* sets cursor_bad */

/* Each returns zero beyond the end, and sets cursor_bad there and where a value is outside what FORMAT.md allows. */
uint8_t cursor_u8(void);
uint16_t cursor_u16(void);
/* Seven bits a byte, the highest first, no more bytes than needed; below 2^31. */
uint32_t cursor_number(void);
/* The same, at most so much. */
uint16_t cursor_word(uint16_t most);
/* Quarter hours in a signed byte, -64 to 63, as minutes. */
int16_t cursor_quarters(void);
/* A signed number whose code is at most so much. */
int16_t cursor_signed(uint16_t most);

#endif
