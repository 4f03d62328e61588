#include "line.h"

#include "board.h"
#include "bytes.h"
#include "clock.h"
#include "crc.h"
#include "cursor.h"
#include "feeder.h"
#include "flags.h"
#include "flash.h"
#include "history.h"
#include "journal.h"
#include "line_format.h"
#include "outlined.h"
#include "power.h"
#include "storage.h"
#include "table.h"

#include <string.h>

#define FCS_SIZE 2
#define REQ_HEAD 2 /* code, sequence number */
#define ANS_HEAD 3 /* and status */

#define MAX_SERVE_UNITS 100000000

/* ---- frames ---- */

/* A request, and in its place the answer. Owned by the interrupt until flags.ready is set, by line_answer until it is cleared. */
static uint8_t content[LINE_MAX_CONTENT + FCS_SIZE];
static uint8_t length;

void line_reset(void)
{
	flags.inside = false;
	flags.escaped = false;
	flags.ready = false;
	length = 0;
}

bool line_ready(void)
{
	return flags.ready;
}

/* The check is left to line_answer: an interrupt has no time for it. */
static void end_of_frame(void)
{
	if (flags.inside && !flags.escaped && length >= REQ_HEAD + FCS_SIZE)
		flags.ready = true;
	else
		length = 0;
	flags.inside = true;
	flags.escaped = false;
}

/* About 70 cycles with its interrupt; an octet takes 1388 at 57,600 baud and 8 MHz. */
void line_receive(uint8_t octet)
{
	if (flags.ready)
		return;
	if (octet == LINE_FLAG) {
		end_of_frame();
	} else if (octet == LINE_ESCAPE) {
		flags.escaped = true;
	} else if (!flags.inside || length >= sizeof content) {
		flags.inside = false; /* too long for any message: wait for the next flag */
	} else {
		content[length++] = flags.escaped ? octet ^ LINE_INVERT : octet;
		flags.escaped = false;
	}
}

static void send_octet(uint8_t octet)
{
	if (octet == LINE_FLAG || octet == LINE_ESCAPE) {
		uart_send(LINE_ESCAPE);
		octet ^= LINE_INVERT;
	}
	uart_send(octet);
}

static uint8_t ans_size; /* bytes of the answer in content */

static void send_content(void)
{
	uint16_t fcs = (uint16_t)~crc_over(CRC_START, content, ans_size);

	content[ans_size++] = (uint8_t)fcs;
	content[ans_size++] = (uint8_t)(fcs >> 8);
	uart_send(LINE_FLAG);
	for (const uint8_t *at = content; ans_size > 0; ans_size--)
		send_octet(*at++);
	uart_send(LINE_FLAG);
}

/* ---- messages ---- */

/* Each handler finds the request's payload in req and its length in req_size, appends the answer's payload with put and
 * returns a status. Both lie in the same buffer: read first, then write. */
static uint8_t *const req = content + REQ_HEAD;
static uint8_t req_size;

/* Appends a number as it lies in memory: little-endian on the AVR and on the hosts that check it. */
static void put(const void *from, uint8_t n)
{
	memcpy(content + ans_size, from, n);
	ans_size += n;
}

static void put_byte(uint8_t byte)
{
	content[ans_size++] = byte;
}

static void put_word(uint16_t word)
{
	put(&word, 2);
}

static uint16_t req_word(uint8_t at)
{
	return req[at] | (uint16_t)req[at + 1] << 8;
}

static uint32_t req_long(uint8_t at)
{
	return bytes_get(req + at, 4);
}

static uint8_t identify(void)
{
	put_byte(LINE_VERSION);
	put_byte(TABLE_VERSION);
	put_word(LINE_FIRMWARE);
	put_byte(BOARD_CODE);
	put_word(EEPROM_SIZE);
	put_word(BANK_SIZE);
	put_byte(LINE_MAX_DATA);
	put_word(history_slots());
	put_word(BOARD_CLOCK / 1000);
	return LINE_OK;
}

#define NOTE_SIZE 4

/* Appends the instant at which the clock was last set, 0 if the note of it is not whole. */
static void put_clock_set(void)
{
	uint8_t *note = content + ans_size;

	bytes_load(note, CLOCK_SET_AT, NOTE_SIZE);
	if (storage_read(CLOCK_SET_AT + NOTE_SIZE) != crc_short(note, NOTE_SIZE))
		memset(note, 0, NOTE_SIZE);
	ans_size += NOTE_SIZE;
}

/* Losing the note never affects feeding, so it is written in place. */
static void note_clock_set(const uint8_t *note)
{
	bytes_update(CLOCK_SET_AT, note, NOTE_SIZE);
	storage_write(CLOCK_SET_AT + NOTE_SIZE, crc_short(note, NOTE_SIZE));
}

static uint8_t status(void)
{
	feeder_time();
	put_byte(feeder.bank);
	put_byte(table.sequence);
	put(&table.crc, 2);
	put(&feeder.now.seconds, 4);
	put(&journal.cursor, 6); /* and preset and adjust */
	put(&journal.carry, 4);
	put_byte(feeder.faults);
	put_word(power_supply());
	put_byte(journal.token);
	put_clock_set();
	put_byte(table.presets);
	put(&power_ticks, 2);
	return LINE_OK;
}

static uint8_t clock_read_answer(void)
{
	uint8_t edge = req[REQ_CLOCK_READ_EDGE];
	uint8_t answer;
	uint32_t first;

	clock_day = 0;
	answer = clock_read();
	first = clock_now.seconds;

	/* A reading takes 0.25 to 1.1 ms, so the seconds change within 5,000 of them. */
	for (uint16_t n = 5000; edge && answer == CLOCK_GOOD && clock_now.seconds == first && n > 0; n--)
		answer = clock_read();
	if (answer == CLOCK_SILENT)
		return LINE_NO_CLOCK;
	put(&clock_now.seconds, 4);
	put_byte(answer == CLOCK_STOPPED);
	return LINE_OK;
}

static uint8_t clock_set_answer(void)
{
	/* Sequence number and seconds: a frame that a noisy line delivers twice must not set an old time. */
	static uint8_t last[1 + REQ_CLOCK_SET_SIZE];
	uint32_t seconds = req_long(REQ_CLOCK_SET_NOW);

	if (memcmp(last, content + 1, sizeof last) == 0)
		return LINE_OK;
	if (seconds < 60 || seconds > (TABLE_MAX_DAY + 1) * 86400UL - 1)
		return LINE_BAD_RANGE;
	if (!clock_set(seconds))
		return LINE_NO_CLOCK;
	memcpy(last, content + 1, sizeof last);
	note_clock_set(req + REQ_CLOCK_SET_NOW);
	feeder_clock_was_set();
	feeder_decide();
	return LINE_OK;
}

static uint8_t eeprom_read(void)
{
	uint16_t at = req_word(REQ_EEPROM_READ_OFFSET);
	uint8_t count = req[REQ_EEPROM_READ_COUNT];

	if (count == 0 || count > LINE_MAX_DATA || at > (uint16_t)(EEPROM_SIZE - count))
		return LINE_BAD_RANGE;
	bytes_load(content + ans_size, at, count);
	ans_size += count;
	return LINE_OK;
}

static uint8_t history_read(void)
{
	uint16_t index = req_word(REQ_HISTORY_READ_INDEX);
	uint8_t count = req[REQ_HISTORY_READ_COUNT];

	if (count == 0 || count > LINE_HISTORY_MAX)
		return LINE_BAD_RANGE;
	for (; count > 0 && history_get(index++, content + ans_size); count--)
		ans_size += HISTORY_SIZE;
	return LINE_OK;
}

static uint8_t bank_write(void)
{
	uint16_t at = req_word(REQ_BANK_WRITE_OFFSET);
	uint8_t count = req_size - REQ_BANK_WRITE_DATA;
	uint16_t to = feeder_table_at(feeder_spare());

	if (count == 0 || count > LINE_MAX_DATA || at > (uint16_t)(BANK_SIZE - 1 - count))
		return LINE_BAD_RANGE;
	/* Void before the first byte changes; the requests after the first cost this byte no wear. */
	if (storage_read(to - 1) != BANK_VOID)
		storage_write(to - 1, BANK_VOID);
	/* Written even where it reads right: a power cut may have left a cell that reads otherwise the next time. */
	bytes_save(to + at, req + REQ_BANK_WRITE_DATA, count);
	put_byte(feeder_spare());
	bytes_load(content + ans_size, to + at, count);
	ans_size += count;
	return LINE_OK;
}

/* After the spare bank's table was open. */
static void reopen(void)
{
	if (feeder.bank != NO_BANK)
		feeder_open(feeder.bank);
}

static uint8_t bank_verify(void)
{
	uint8_t fault = feeder_open(feeder_spare());

	put_byte(feeder_spare());
	put_byte(fault);
	put_word(cursor_at - feeder_table_at(feeder_spare()));
	put_byte(table.sequence);
	put(&table.crc, 2);
	reopen();
	return fault == TABLE_GOOD ? LINE_OK : LINE_BAD_TABLE;
}

OUTLINED static bool is_open(uint8_t sequence, uint16_t crc)
{
	return table.sequence == sequence && table.crc == crc;
}

/* What a commit found wrong with the spare bank's table, if that is the reason. */
static uint8_t commit_fault;

static uint8_t commit(uint8_t sequence, uint16_t crc)
{
	uint8_t before = table.sequence;
	bool meant;

	if (feeder.bank != NO_BANK && is_open(sequence, crc))
		return LINE_OK; /* the answer to the first request was lost */
	feeder_decide(); /* what the old table has due is given first */
	commit_fault = feeder_open(feeder_spare());
	meant = is_open(sequence, crc) && (feeder.bank == NO_BANK || (int8_t)(sequence - before) > 0);
	reopen();
	if (commit_fault != TABLE_GOOD)
		return LINE_BAD_TABLE;
	if (!meant)
		return LINE_STALE;
	feeder_commit();
	feeder_decide();
	return feeder.bank != NO_BANK && is_open(sequence, crc) ? LINE_OK : LINE_FAILED;
}

static uint8_t bank_commit(void)
{
	uint8_t result;

	commit_fault = TABLE_GOOD;
	result = commit(req[REQ_BANK_COMMIT_SEQUENCE], req_word(REQ_BANK_COMMIT_TABLE_CRC));
	put_byte(feeder.bank);
	put_byte(commit_fault);
	return result;
}

/* Of a search for the owner: where it goes on, and the remainder of the portions. */
static int32_t next_after, next_carry;

/* Appends one serving to the answer: minute, pockets, first meal, number of meals. */
static void put_serving(void)
{
	uint8_t first = 0, count = 0;

	for (uint8_t meal = TABLE_MAX_MEALS; meal-- > 0;)
		if (serving.meals[meal >> 3] & bit_of(meal & 7)) {
			first = meal;
			count++;
		}
	put(&serving.at, 4);
	put_word(table_pockets(journal.adjust, &next_carry));
	put_byte(first);
	put_byte(count);
}

static uint8_t next(void)
{
	uint8_t count = req[REQ_NEXT_COUNT];

	if (feeder.bank == NO_BANK)
		return LINE_NO_TABLE;
	bytes_copy4(&next_carry, &journal.carry);
	bytes_copy4(&next_after, req + REQ_NEXT_AFTER);
	if (next_after == -1)
		bytes_copy4(&next_after, &journal.cursor);
	if ((uint8_t)(count - 1) >= LINE_NEXT_MAX || (uint32_t)next_after > CURSOR_NONE)
		return LINE_BAD_RANGE;
	ans_size += ANS_NEXT_SERVINGS;
	for (uint8_t days = LINE_NEXT_DAYS; days > 0 && count > 0;) {
		if (feeder_next(&next_after, SEARCH_MINUTES)) {
			put_serving();
			bytes_copy4(&next_after, &serving.at);
			count--;
		} else {
			bytes_add(&next_after, SEARCH_MINUTES);
			days--;
		}
	}
	bytes_copy4(content + ANS_HEAD + ANS_NEXT_SEARCHED, &next_after);
	return LINE_OK;
}

static uint8_t serve(void)
{
	uint8_t token = req[REQ_SERVE_TOKEN];
	uint32_t units = req_long(REQ_SERVE_UNITS);
	uint16_t pockets = 0;

	if (token != journal.token) {
		if (token != (uint8_t)(journal.token + 1) || units > MAX_SERVE_UNITS)
			return LINE_BAD_RANGE;
		feeder_time();
		pockets = feeder_manual(units, token);
		if (token != journal.token)
			return LINE_REFUSED;
	}
	put_word(pockets);
	return LINE_OK;
}

static uint8_t settings_answer(void)
{
	uint8_t preset = req[REQ_SETTINGS_PRESET], adjust = req[REQ_SETTINGS_ADJUST];

	if ((preset != 0xFF && preset != 0 && preset >= table.presets) || (adjust != 0xFF && (adjust < 8 || adjust > 12)))
		return LINE_BAD_RANGE;
	if (preset != 0xFF)
		feeder_preset(preset);
	if (adjust != 0xFF)
		feeder_adjust(adjust);
	put_byte(journal.preset);
	put_byte(journal.adjust);
	return LINE_OK;
}

static uint8_t faults_clear(void)
{
	feeder.faults &= (uint8_t)~req[REQ_FAULTS_CLEAR_FAULTS];
	put_byte(feeder.faults);
	return LINE_OK;
}

static uint8_t ageing(void)
{
	int8_t value = (int8_t)req[REQ_AGEING_VALUE];

	if (req[REQ_AGEING_WRITE] && !clock_ageing_write(value))
		return LINE_NO_CLOCK;
	if (!clock_ageing_read(&value))
		return LINE_NO_CLOCK;
	put_byte((uint8_t)value);
	return LINE_OK;
}

/* Bytes of a request's fields of fixed width, by its code. */
static const uint8_t sizes[] FLASH = {
	[CODE_IDENTIFY - 1] = REQ_IDENTIFY_SIZE,
	[CODE_STATUS - 1] = REQ_STATUS_SIZE,
	[CODE_CLOCK_READ - 1] = REQ_CLOCK_READ_SIZE,
	[CODE_CLOCK_SET - 1] = REQ_CLOCK_SET_SIZE,
	[CODE_EEPROM_READ - 1] = REQ_EEPROM_READ_SIZE,
	[CODE_HISTORY_READ - 1] = REQ_HISTORY_READ_SIZE,
	[CODE_BANK_WRITE - 1] = REQ_BANK_WRITE_SIZE,
	[CODE_BANK_VERIFY - 1] = REQ_BANK_VERIFY_SIZE,
	[CODE_BANK_COMMIT - 1] = REQ_BANK_COMMIT_SIZE,
	[CODE_NEXT - 1] = REQ_NEXT_SIZE,
	[CODE_SERVE - 1] = REQ_SERVE_SIZE,
	[CODE_SETTINGS - 1] = REQ_SETTINGS_SIZE,
	[CODE_FAULTS_CLEAR - 1] = REQ_FAULTS_CLEAR_SIZE,
	[CODE_AGEING - 1] = REQ_AGEING_SIZE,
};

/* A switch, not a table of functions: the compiler builds the handlers in, which saves each its frame. */
static uint8_t obey(void)
{
	uint8_t code = content[0];
	uint8_t size;

	if ((uint8_t)(code - 1) >= sizeof sizes)
		return LINE_BAD_REQUEST;
	size = FLASH_BYTE(sizes + code - 1);
	if (req_size < size || (req_size > size && code != CODE_BANK_WRITE))
		return LINE_BAD_REQUEST;
	switch (code) {
	case CODE_IDENTIFY:
		return identify();
	case CODE_STATUS:
		return status();
	case CODE_CLOCK_READ:
		return clock_read_answer();
	case CODE_CLOCK_SET:
		return clock_set_answer();
	case CODE_EEPROM_READ:
		return eeprom_read();
	case CODE_HISTORY_READ:
		return history_read();
	case CODE_BANK_WRITE:
		return bank_write();
	case CODE_BANK_VERIFY:
		return bank_verify();
	case CODE_BANK_COMMIT:
		return bank_commit();
	case CODE_NEXT:
		return next();
	case CODE_SERVE:
		return serve();
	case CODE_SETTINGS:
		return settings_answer();
	case CODE_FAULTS_CLEAR:
		return faults_clear();
	default:
		return ageing();
	}
}

void line_answer(void)
{
	bool good = crc_over(CRC_START, content, length) == LINE_FCS_GOOD;
	uint8_t result;

	uart_heard(good);
	if (good) {
		req_size = length - REQ_HEAD - FCS_SIZE;
		ans_size = ANS_HEAD;
		result = obey();
		content[0] |= LINE_ANSWER;
		content[REQ_HEAD] = result;
		send_content();
	}
	length = 0;
	flags.ready = false;
	feeder_turn_asked(); /* a serving that was asked for; the answer comes first */
}
