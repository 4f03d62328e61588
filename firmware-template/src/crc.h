/* CRC-16/IBM-SDLC, the check of storage records and, as the frame check sequence of RFC 1662, of frames.
 * Check value: "123456789" gives 906E. */
#ifndef CRC_H
#define CRC_H

#include <stdint.h>

#define CRC_START 0xFFFF
#define CRC_GOOD 0xF0B8 /* over bytes and, low byte first, their check (RFC 1662, section C.2) */

/* Adds a byte. The check is the complement of the last value. */
uint16_t crc_add(uint16_t crc, uint8_t byte);
/* Adds n bytes. */
uint16_t crc_over(uint16_t crc, const uint8_t *from, uint8_t n);
/* The low byte of the check of n bytes, enough for records whose loss does no harm. */
uint8_t crc_short(const uint8_t *from, uint8_t n);

#endif
