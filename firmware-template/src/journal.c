#include "journal.h"

#include "bytes.h"
#include "crc.h"
#include "mark.h"
#include "storage.h"
#include "table_format.h"

journal_t journal;
settings_t settings;

/* A ring of records whose first byte is the mark of a sequence number, written last. */
typedef struct {
	uint16_t at;
	uint8_t slots, size;
	uint8_t body;   /* first byte that the check covers */
	uint8_t newest; /* slot, or NO_MARK */
	uint8_t sequence;
} ring_t;

static ring_t records = {JOURNAL_AT, JOURNAL_SLOTS, JOURNAL_SIZE, JOURNAL_CURSOR, NO_MARK, 0};
static ring_t copies = {SETTINGS_AT, SETTINGS_COPIES, SETTINGS_SIZE, SETTINGS_CLOCK_SET, NO_MARK, 0};

static uint16_t slot_at(const ring_t *r, uint8_t slot)
{
	return r->at + (uint16_t)slot * r->size;
}

/* The check covers the sequence number too, so that a mark belongs to its record only. */
static uint16_t record_crc(const ring_t *r, const uint8_t *raw, uint8_t sequence)
{
	uint16_t crc = crc_add(CRC_START, sequence);

	for (uint8_t i = r->body; i < r->size - 2; i++)
		crc = crc_add(crc, raw[i]);
	return (uint16_t)~crc;
}

/* Reads a slot; false if it holds no whole record. */
static bool ring_read(const ring_t *r, uint8_t slot, uint8_t *raw, uint8_t *sequence)
{
	for (uint8_t i = 0; i < r->size; i++)
		raw[i] = storage_read(slot_at(r, slot) + i);
	*sequence = mark_index(raw[0]);
	return *sequence < SEQUENCE_COUNT && bytes_get(raw + r->size - 2, 2) == record_crc(r, raw, *sequence);
}

/* Finds the newest record and reads it; false if there is none. */
static bool ring_open(ring_t *r, uint8_t *raw)
{
	uint8_t sequence;

	r->newest = NO_MARK;
	for (uint8_t slot = 0; slot < r->slots; slot++) {
		if (!ring_read(r, slot, raw, &sequence))
			continue;
		/* compared by difference, so that the numbers may wrap */
		if (r->newest != NO_MARK && (uint8_t)(sequence - r->sequence) % SEQUENCE_COUNT >= SEQUENCE_COUNT / 2)
			continue;
		r->newest = slot;
		r->sequence = sequence;
	}
	return r->newest != NO_MARK && ring_read(r, r->newest, raw, &sequence);
}

/* Writes the next slot: void, contents, mark. A cut before the mark leaves the slot void, a cut in the mark leaves it
 * void or whole. */
static void ring_append(ring_t *r, uint8_t *raw)
{
	uint16_t at;

	r->newest = r->newest >= r->slots - 1 ? 0 : r->newest + 1;
	r->sequence = (r->sequence + 1) % SEQUENCE_COUNT;
	at = slot_at(r, r->newest);
	bytes_put(raw + r->size - 2, record_crc(r, raw, r->sequence), 2);
	storage_write(at, 0xFF);
	for (uint8_t i = 1; i < r->size; i++)
		storage_write(at + i, raw[i]);
	storage_write(at, mark_of(r->sequence));
}

void journal_append(void)
{
	uint8_t raw[JOURNAL_SIZE];
	uint32_t cursor = (uint32_t)journal.cursor | (uint32_t)journal.preset << 26 | (uint32_t)(journal.adjust - 8) << 29;

	raw[JOURNAL_ODD] = 0xFF;
	raw[JOURNAL_EVEN] = 0xFF;
	bytes_put(raw + JOURNAL_CURSOR, cursor, 4);
	bytes_put(raw + JOURNAL_POCKETS, journal.pockets, 2);
	bytes_put(raw + JOURNAL_CARRY, (uint32_t)journal.carry, 3);
	raw[JOURNAL_KIND] = journal.kind | (uint8_t)(journal.resumed << 4);
	raw[JOURNAL_TOKEN] = journal.token;
	ring_append(&records, raw);
}

void journal_open(void)
{
	uint8_t raw[JOURNAL_SIZE];
	uint8_t bits;

	journal.cursor = CURSOR_NONE;
	journal.carry = 0;
	journal.pockets = 0;
	journal.preset = 0;
	journal.adjust = 10;
	journal.kind = KIND_STATE;
	journal.resumed = 0;
	journal.token = 0;
	if (!ring_open(&records, raw))
		return;
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
static uint16_t step_at(uint8_t n)
{
	return slot_at(&records, records.newest) + (n & 1 ? JOURNAL_ODD : JOURNAL_EVEN);
}

void journal_step(uint8_t n)
{
	storage_write(step_at(n), mark_of(n));
}

/* The newest step of the newest record; *torn says that the next one was being written. */
static uint8_t steps_taken(bool *torn)
{
	uint8_t newest = 0;

	*torn = false;
	for (uint8_t i = 0; i < 2; i++) {
		uint8_t byte = storage_read(step_at(i));
		uint8_t step = mark_index(byte);
		if (step != NO_MARK && step > newest)
			newest = step;
		if (step == NO_MARK && byte != 0xFF)
			*torn = true;
	}
	return newest;
}

uint16_t journal_left(bool index_switch)
{
	bool torn;
	uint8_t step;

	if (records.newest == NO_MARK || journal.pockets == 0)
		return 0;
	step = steps_taken(&torn);
	if (step > journal.pockets)
		return 0;
	/* Step n stands for "pocket n is turning"; a torn step n + 1 says that it has been turned. */
	if (!torn && step > 0 && (index_switch || (journal.resumed & 1)))
		step--;
	return journal.pockets - step;
}

void settings_open(void)
{
	uint8_t raw[SETTINGS_SIZE];

	settings.clock_set = 0;
	settings.ageing = 0;
	if (!ring_open(&copies, raw))
		return;
	settings.clock_set = bytes_get(raw + SETTINGS_CLOCK_SET, 4);
	settings.ageing = (int8_t)raw[SETTINGS_AGEING];
}

void settings_write(void)
{
	uint8_t raw[SETTINGS_SIZE];

	bytes_put(raw + SETTINGS_CLOCK_SET, settings.clock_set, 4);
	raw[SETTINGS_AGEING] = (uint8_t)settings.ageing;
	ring_append(&copies, raw);
}
