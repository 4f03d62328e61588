#include "journal.h"

#include "bytes.h"
#include "crc.h"
#include "mark.h"
#include "outlined.h"
#include "storage.h"
#include "table_format.h"

#include <string.h>

journal_t journal;

/* The ring: slots whose first byte is the mark of a sequence number, written last. */
static uint8_t newest; /* slot, or NO_MARK */
static uint8_t sequence;
static uint8_t raw[JOURNAL_SIZE]; /* a slot in the making, or being read */

OUTLINED static uint16_t slot_at(uint8_t slot)
{
	return JOURNAL_AT + (uint16_t)slot * JOURNAL_SIZE;
}

/* The check covers the sequence number too, so that a mark belongs to its record only. */
static uint16_t record_crc(uint8_t number)
{
	return (uint16_t)~crc_over(crc_add(CRC_START, number), raw + JOURNAL_CURSOR, JOURNAL_CRC - JOURNAL_CURSOR);
}

/* Reads a slot; NO_MARK if it holds no whole record, else its sequence number. */
static uint8_t slot_read(uint8_t slot)
{
	uint8_t number;

	bytes_load(raw, slot_at(slot), JOURNAL_SIZE);
	number = mark_index(raw[JOURNAL_MARK]);
	if (number >= SEQUENCE_COUNT || bytes_get(raw + JOURNAL_CRC, 2) != record_crc(number))
		return NO_MARK;
	return number;
}

/* Finds the newest record; the numbers are compared by difference, so that they may wrap. */
static void find_newest(void)
{
	newest = NO_MARK;
	for (uint8_t slot = 0; slot < JOURNAL_SLOTS; slot++) {
		uint8_t number = slot_read(slot);
		if (number == NO_MARK || (newest != NO_MARK && (uint8_t)(number - sequence) % SEQUENCE_COUNT >= SEQUENCE_COUNT / 2))
			continue;
		newest = slot;
		sequence = number;
	}
}

/* Writes the next slot: void, contents, mark. A cut before the mark leaves the slot void, a cut in the mark leaves it
 * void or whole. */
static void append_raw(void)
{
	uint16_t at;

	newest = newest >= JOURNAL_SLOTS - 1 ? 0 : newest + 1;
	sequence = (sequence + 1) % SEQUENCE_COUNT;
	at = slot_at(newest);
	bytes_put(raw + JOURNAL_CRC, record_crc(sequence), 2);
	storage_write(at, 0xFF);
	bytes_save(at + 1, raw + 1, JOURNAL_SIZE - 1);
	storage_write(at, mark_of(sequence));
}

void journal_append(void)
{
	raw[JOURNAL_ODD] = 0xFF;
	raw[JOURNAL_EVEN] = 0xFF;
	bytes_put(raw + JOURNAL_CURSOR, (uint32_t)journal.cursor, 4);
	raw[JOURNAL_CURSOR + 3] |= (uint8_t)(journal.preset << 2 | (journal.adjust - 8) << 5);
	bytes_put(raw + JOURNAL_POCKETS, journal.pockets, 2);
	bytes_put(raw + JOURNAL_CARRY, (uint32_t)journal.carry, 3);
	raw[JOURNAL_KIND] = journal.kind | (uint8_t)(journal.resumed << 4);
	raw[JOURNAL_TOKEN] = journal.token;
	append_raw();
}

void journal_open(void)
{
	uint8_t bits;

	memset(&journal, 0, sizeof journal);
	journal.cursor = CURSOR_NONE;
	journal.adjust = 10;
	/* A byte torn by a power cut may read differently the second time. */
	for (uint8_t tries = 0; tries < 8; tries++) {
		find_newest();
		if (newest == NO_MARK)
			return;
		if (slot_read(newest) == sequence)
			break;
	}
	bits = raw[JOURNAL_CURSOR + 3] >> 2;
	journal.cursor = (int32_t)(bytes_get(raw + JOURNAL_CURSOR, 4) & CURSOR_NONE);
	journal.preset = bits & 7;
	if (bits >> 3 <= 4)
		journal.adjust = 8 + (bits >> 3);
	journal.pockets = (uint16_t)bytes_get(raw + JOURNAL_POCKETS, 2);
	/* 24 bits, two's complement */
	journal.carry = (int32_t)(bytes_get(raw + JOURNAL_CARRY, 3) ^ 0x800000) - 0x800000;
	journal.kind = raw[JOURNAL_KIND] & 0xF;
	journal.resumed = raw[JOURNAL_KIND] >> 4;
	journal.token = raw[JOURNAL_TOKEN];
}

/* Odd and even steps have a byte each: while one is being written the other still holds the step before. */
OUTLINED static uint16_t step_at(uint8_t n)
{
	return slot_at(newest) + (n & 1 ? JOURNAL_ODD : JOURNAL_EVEN);
}

void journal_step(uint8_t n)
{
	storage_write(step_at(n), mark_of(n));
}

/* The newest step of the newest record; *torn says that the next one was being written. */
static uint8_t steps_taken(bool *torn)
{
	uint8_t last = 0;

	*torn = false;
	for (uint8_t i = 0; i < 2; i++) {
		uint8_t byte = storage_read(step_at(i));
		uint8_t step = mark_index(byte);
		if (step == NO_MARK)
			*torn |= byte != 0xFF;
		else if (step > last)
			last = step;
	}
	return last;
}

uint16_t journal_left(bool index_switch)
{
	bool torn;
	uint8_t step;

	if (newest == NO_MARK || journal.pockets == 0)
		return 0;
	step = steps_taken(&torn);
	if (step > journal.pockets)
		return 0;
	/* Step n stands for "pocket n is turning"; a torn step n + 1 says that it has been turned. */
	if (!torn && step > 0 && (index_switch || (journal.resumed & 1)))
		step--;
	return journal.pockets - step;
}
