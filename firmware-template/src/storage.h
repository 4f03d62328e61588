/* The one small interface between the pure modules and a byte store: the AVR's EEPROM on the chip, an array on
 * the host. Offsets are those of the generated EEPROM map. */
#ifndef STORAGE_H
#define STORAGE_H

#include <stdint.h>

/* Reads one byte; waits for a write in progress. Offsets lie in the store, here and below. */
uint8_t storage_read(uint16_t at);

/* Erases and programs one byte and returns when it is programmed, always, even if the byte reads the same: a
 * byte torn by a power cut may read right now and wrong later. */
void storage_write(uint16_t at, uint8_t value);

/* Programs one byte without erasing it first: only clears bits. A byte that reads as the value stays so wherever a power cut falls,
 * and is fully programmed afterwards. */
void storage_refresh(uint16_t at, uint8_t value);

#endif
