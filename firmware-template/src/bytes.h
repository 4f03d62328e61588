/* Numbers in byte buffers, little-endian, without regard to how the compiler would lay out a struct. */
#ifndef BYTES_H
#define BYTES_H

#include <stdint.h>

/* Stores the low n bytes (at most 4) of a value. */
void bytes_put(uint8_t *at, uint32_t value, uint8_t n);
/* Reads n bytes (at most 4), not sign-extended. */
uint32_t bytes_get(const uint8_t *at, uint8_t n);

/* The same for minutes, signed and in four bytes, by address: loading them takes sixteen bytes of flash each time. */
void bytes_copy4(void *to, const void *from);
void bytes_add(int32_t *to, int16_t minutes);

/* Bytes between a buffer and storage. The last byte is written first, and each even if it reads the same, as storage.h says. */
void bytes_load(uint8_t *to, uint16_t at, uint8_t n);
void bytes_save(uint16_t at, const uint8_t *from, uint8_t n);

#endif
