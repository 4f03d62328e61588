/* Marks: the bytes with exactly four bits set. A power cut leaves a byte with extra ones (not yet cleared), which changes
 * the number of bits set, so a mark reads as the old one, as the new one or as none, never as a third. */
#ifndef MARK_H
#define MARK_H

#include <stdint.h>

#define NO_MARK 0xFF

/* The mark of an index below MARK_COUNT. */
uint8_t mark_of(uint8_t index);
/* The index of a mark, or NO_MARK. */
uint8_t mark_index(uint8_t byte);

#endif
