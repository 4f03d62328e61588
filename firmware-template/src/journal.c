#include "journal.h"

#include "bytes.h"
#include "crc.h"
#include "mark.h"
#include "outlined.h"
#include "storage.h"
#include "table_format.h"

#include <stddef.h>
#include <string.h>

#define RING_SIZE (JOURNAL_SLOTS * JOURNAL_SIZE)
#define NONE 0xFF

/* The struct is the record. */
_Static_assert(offsetof(journal_t, steps) == JOURNAL_STEPS && offsetof(journal_t, crc) == JOURNAL_CRC &&
	       offsetof(journal_t, cursor) == JOURNAL_CURSOR && offsetof(journal_t, faults) == JOURNAL_FAULTS &&
	       offsetof(journal_t, guard) == JOURNAL_GUARD && offsetof(journal_t, seal) == JOURNAL_SEAL, "journal_t");

journal_t journal;

/* The check covers the mark too, so that it belongs to its record only. */
static uint16_t crc_of(uint8_t size)
{
	return crc_over(CRC_START, &journal.mark, size);
}

/* Reads a slot; its mark's index, or NONE if it holds no whole record. */
static uint8_t slot_read(uint16_t at)
{
	bytes_load(&journal.mark, at, JOURNAL_SIZE);
	return mark_is(journal.mark) && crc_of(JOURNAL_STEPS) == CRC_GOOD ? journal.mark & MARK_INDEX : NONE;
}

/* Finds the newest record, or NONE; the numbers are compared by difference, so that they may wrap. */
static uint8_t find_newest(void)
{
	uint8_t sequence = NONE;

	for (uint16_t at = JOURNAL_AT; at < JOURNAL_AT + RING_SIZE; at += JOURNAL_SIZE) {
		uint8_t number = slot_read(at);
		if (number != NONE && (sequence == NONE || !((number - sequence) & SEQUENCE_COUNT / 2))) {
			journal.at = at;
			sequence = number;
		}
	}
	return sequence;
}

#define SEALED mark_of(0)

static void seal_write(uint8_t value)
{
	journal.seal = value;
	storage_write(journal.at + JOURNAL_SEAL, value);
}

void journal_seal(void)
{
	seal_write(SEALED);
}

bool journal_sealed(void)
{
	return journal.seal == SEALED;
}

void journal_unseal(void)
{
	if (journal.at != 0 && journal_sealed())
		seal_write(NONE);
}

/* Writes the next slot: void, contents, mark, seal. A cut before the mark leaves the slot void, a cut in the mark leaves it
 * void or whole; once the seal is being written the mark is whole. */
void journal_append(void)
{
	uint16_t crc, at = journal.at + JOURNAL_SIZE;

	journal_unseal(); /* a torn mark of the next record would make this one the newest at one restart and not at another */
	if ((uint16_t)(at - JOURNAL_AT) >= RING_SIZE) /* also if there was none */
		at = JOURNAL_AT;
	journal.at = at;
	journal.mark = mark_of(journal.mark + 1);
	crc = ~crc_of(JOURNAL_CRC);
	journal.crc[0] = (uint8_t)crc;
	journal.crc[1] = (uint8_t)(crc >> 8);
	journal.steps[0] = journal.steps[1] = journal.seal = NONE;
	storage_write(at, NONE);
	/* Its seal was broken when the record after it was written; that cell would wear out first. */
	if (storage_read(at + JOURNAL_SEAL) != NONE)
		storage_write(at + JOURNAL_SEAL, NONE);
	bytes_save(at, &journal.mark, JOURNAL_SEAL);
	journal_seal();
}

/* A record whose check is right may still have been made up, by whoever wrote the EEPROM. */
static void keep_in_range(void)
{
	if ((uint32_t)journal.cursor > CURSOR_NONE)
		journal.cursor = CURSOR_NONE;
	if (journal.adjust < 8 || journal.adjust > 12)
		journal.adjust = 10;
	if (journal.asked > MAX_ASKED_DAY)
		journal.asked = MAX_ASKED_DAY;
}

void journal_open(void)
{
	uint8_t sequence;

	/* A byte torn by a power cut may read differently the second time; twice the same comes soon. */
	do {
		sequence = find_newest();
		if (sequence == NONE) {
			memset(&journal, 0, sizeof journal);
			journal.cursor = CURSOR_NONE;
			journal.adjust = 10;
			return;
		}
	} while (slot_read(journal.at) != sequence);
	keep_in_range();
}

/* Odd and even steps have a byte each: while one is being written the other still holds the step before. */
void journal_step(uint8_t n)
{
	uint8_t odd = n & 1;

	journal.steps[odd] = mark_of(n / 2);
	storage_write(journal.at + JOURNAL_STEPS + odd, journal.steps[odd]);
}

/* The newest step that was recorded; 0: none. *torn: the one after it was being written, so the last one's pocket has ended. */
static uint8_t newest_step(bool *torn)
{
	uint8_t last = 0;

	*torn = false;
	for (uint8_t odd = 0; odd < 2; odd++) {
		uint8_t byte = journal.steps[odd];
		uint8_t step = (uint8_t)(byte << 4) >> 3 | odd;
		if (!mark_is(byte))
			*torn |= byte != NONE;
		else if (step > last)
			last = step;
	}
	return last;
}

static void count_resumption(void)
{
	if (journal.kind < RESUMED_MOST)
		journal.kind += RESUMED;
}

uint8_t journal_resume(bool index_switch, bool hung)
{
	uint8_t resumed = journal.kind / RESUMED, cut = CUT_BETWEEN;
	bool torn;
	uint8_t last = newest_step(&torn);

	if (!torn && last > 0 && last <= journal.pockets) {
		cut = CUT_TURNED;
		count_resumption();
		if (hung) {
			count_resumption();
			last += resumed > 1;
		} else if (resumed == (index_switch ? 0 : 1)) {
			cut = CUT_NOT_TURNED;
			last--;
		}
	}
	journal.pockets -= last < journal.pockets ? last : journal.pockets;
	journal.steps[0] = journal.steps[1] = NONE;
	return cut;
}
