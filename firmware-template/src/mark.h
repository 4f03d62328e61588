/* Marks: the bytes whose high half is the complement of the low one, which is the index. A power cut leaves a byte with extra ones
 * (not yet cleared), and then the halves are no complements: a mark reads as the old one, as the new one or as none, never as a
 * third. */
#ifndef MARK_H
#define MARK_H

#include <stdbool.h>
#include <stdint.h>

#include "outlined.h"
#include "table_format.h"

#define MARK_INDEX (MARK_COUNT - 1) /* the bits of a mark that are its index */

/* The mark of an index, of which the lowest four bits count. */
uint8_t mark_of(uint8_t index);
/* In line: the chip exchanges the halves in one instruction. */
INLINED bool mark_is(uint8_t byte)
{
	return (uint8_t)((uint8_t)(byte << 4 | byte >> 4) ^ byte) == 0xFF;
}

#endif
