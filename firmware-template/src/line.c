#include "line.h"

#include "banks.h"
#include "board.h"
#include "bytes.h"
#include "clock.h"
#include "crc.h"
#include "cursor.h"
#include "faults.h"
#include "feeder.h"
#include "flags.h"
#include "flash.h"
#include "history.h"
#include "journal.h"
#include "limits.h"
#include "line_format.h"
#include "outlined.h"
#include "power.h"
#include "service.h"
#include "servings.h"
#include "storage.h"
#include "table.h"
#include "wheel.h"

#include <stddef.h>
#include <string.h>

#define FCS_SIZE 2
#define REQ_HEAD 2 /* code, sequence number */
/* What a frame holds beside the fields of its message. */
#define FRAME_REST (REQ_HEAD + FCS_SIZE)

/* ---- frames ---- */

/* A request with its check. Owned by the interrupt until flags.ready is set, by line_answer until it is cleared. One octet longer than
 * any message: a buffer that is full waits for the next flag. */
static uint8_t content[LINE_MAX_CONTENT + FCS_SIZE + 1];
static uint8_t length;

void line_reset(void)
{
	flags.ready = false;
	length = sizeof content;
}

bool line_ready(void)
{
	return flags.ready;
}

/* The check is left to line_answer: an interrupt has no time for it. */
static void end_of_frame(void)
{
	if (!flags.escaped && (uint8_t)(length - FRAME_REST) < sizeof content - FRAME_REST) {
		flags.ready = true;
		flags.woken = true;
	} else {
		length = 0;
	}
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
	} else if (length < sizeof content) {
		content[length++] = flags.escaped ? octet ^ LINE_INVERT : octet;
		flags.escaped = false;
	}
}

/* An answer is sent while it is made: nothing keeps it. */
static uint16_t fcs; /* of what was sent of it */

static void put_byte(uint8_t octet)
{
	fcs = crc_add(fcs, octet);
	if (octet == LINE_FLAG || octet == LINE_ESCAPE) {
		uart_send(LINE_ESCAPE);
		octet ^= LINE_INVERT;
	}
	uart_send(octet);
}

static void put_word(uint16_t word)
{
	put_byte((uint8_t)word);
	put_byte((uint8_t)(word >> 8));
}

/* Sends numbers as they lie in memory: little-endian on the AVR and on the hosts that check it. */
static void put(const void *from, uint8_t n)
{
	const uint8_t *at = from;

	do
		put_byte(*at++);
	while (--n > 0);
}

static void put_stored(uint16_t at, uint8_t n)
{
	do
		put_byte(storage_read(at++));
	while (--n > 0);
}

/* ---- messages ---- */

/* Each handler finds the request's payload in req, sends the answer's payload with put and returns the status, which follows it. */
static uint8_t *const req = content + REQ_HEAD;

/* Fields that are sent in one piece lie in memory as the answer has them. */
#define LIES(member, type, origin, field, first) \
	_Static_assert(offsetof(type, member) - offsetof(type, origin) == ANS_##field - ANS_##first, #field)
LIES(now.seconds, feeder_t, ticks_seen, STATUS_NOW, STATUS_TICKS);
LIES(carry, journal_t, cursor, STATUS_CARRY, STATUS_CURSOR);
LIES(preset, journal_t, cursor, STATUS_PRESET, STATUS_CURSOR);
LIES(adjust, journal_t, cursor, STATUS_ADJUST, STATUS_CURSOR);
LIES(token, journal_t, cursor, STATUS_TOKEN, STATUS_CURSOR);
LIES(asked, journal_t, cursor, STATUS_ASKED, STATUS_CURSOR);
LIES(adjust, journal_t, preset, SETTINGS_ADJUST, SETTINGS_PRESET);
LIES(sequence, table_t, crc, STATUS_SEQUENCE, STATUS_TABLE_CRC);
LIES(presets, table_t, crc, STATUS_PRESETS, STATUS_TABLE_CRC);
LIES(sequence, table_t, crc, BANK_VERIFY_SEQUENCE, BANK_VERIFY_TABLE_CRC);
_Static_assert(offsetof(serving_t, meals) == sizeof(int32_t) && sizeof(int32_t) + SERVING_MEALS_BYTES + 2 == LINE_NEXT_SIZE, "NEXT");
_Static_assert(sizeof(service_wires_t) == ANS_SERVICE_SIZE - ANS_SERVICE_BEFORE, "SERVICE");
_Static_assert(REQ_EEPROM_READ_OFFSET == REQ_BANK_WRITE_OFFSET, "block");
_Static_assert(REQ_BANK_COMMIT_SEQUENCE - REQ_BANK_COMMIT_TABLE_CRC == ANS_BANK_VERIFY_SEQUENCE - ANS_BANK_VERIFY_TABLE_CRC, "BANK_COMMIT");
_Static_assert(CLOCK_SET_SIZE == 1 + REQ_CLOCK_SET_SIZE + FCS_SIZE
	       && CLOCK_SET_SIZE == ANS_STATUS_SIZE - ANS_STATUS_CLOCK_SET, "CLOCK_SET");

static uint16_t req_word(uint8_t at)
{
	return req[at] | (uint16_t)req[at + 1] << 8;
}

static uint32_t req_long(uint8_t at)
{
	return bytes_get(req + at, 4);
}

static const uint8_t identity[] FLASH = {
	LINE_VERSION,
	TABLE_NEWEST,
	LINE_FIRMWARE & 0xFF, LINE_FIRMWARE >> 8,
	BOARD_CODE,
	EEPROM_SIZE & 0xFF, EEPROM_SIZE >> 8,
	BANK_SIZE & 0xFF, BANK_SIZE >> 8,
	LINE_MAX_DATA,
	BOARD_CLOCK / 1000 & 0xFF, BOARD_CLOCK / 1000 >> 8,
};

static uint8_t identify(void)
{
	const uint8_t *at = identity;

	do
		put_byte(FLASH_BYTE(at));
	while (++at != identity + sizeof identity);
	put_word(history_slots());
	put_byte(INDEX_SWITCH | LIGHT_BARRIER << 1);
	return LINE_OK;
}

static uint8_t status(void)
{
	feeder_time();
	limits_age();
	put_word(faults_shown());
	put(&feeder.ticks_seen, ANS_STATUS_BANK - ANS_STATUS_TICKS);
	put_byte(feeder.bank);
	put(&journal.cursor, ANS_STATUS_TABLE_CRC - ANS_STATUS_CURSOR);
	put(&table.crc, ANS_STATUS_SUPPLY - ANS_STATUS_TABLE_CRC);
	put_word(power_supply());
	put_word(wheel_loaded_mv);
	put_word(COUNT_HOPPER && journal.holds ? journal.left : 0xFFFF);
	put_byte(limits_hour_left());
	put_byte(limits_day_left());
	put_stored(CLOCK_SET_AT, CLOCK_SET_SIZE);
	return LINE_OK;
}

static uint8_t clock_read_answer(void)
{
	uint8_t answer, first;

	clock_day = 0;
	answer = clock_read();
	first = (uint8_t)clock_now.seconds;

	/* A reading takes 0.25 to 1.1 ms, so the seconds change within 5,000 of them. */
	for (uint16_t n = 5000; answer == CLOCK_GOOD && (uint8_t)clock_now.seconds == first && n > 0; n--)
		answer = clock_read();
	if (answer == CLOCK_SILENT)
		return LINE_NO_CLOCK;
	put(&clock_now.seconds, 4);
	put_byte(answer); /* CLOCK_GOOD or CLOCK_STOPPED */
	return LINE_OK;
}

static uint8_t clock_set_answer(void)
{
	/* The request without its code: a frame that a noisy line delivers twice must not set an old time. */
	static uint8_t last[CLOCK_SET_SIZE];
	uint32_t seconds = req_long(REQ_CLOCK_SET_NOW);

	if (memcmp(last, content + 1, sizeof last) == 0)
		return LINE_OK;
	if (seconds < 60 || seconds > (TABLE_MAX_DAY + 1) * 86400UL - 1)
		return LINE_BAD_RANGE;
	if (!feeder_set_clock(seconds))
		return LINE_NO_CLOCK;
	memcpy(last, content + 1, sizeof last);
	/* Losing the note never affects feeding, so it is written in place. */
	bytes_save(CLOCK_SET_AT, last, sizeof last);
	feeder_decide();
	return LINE_OK;
}

static uint8_t history_read(void)
{
	uint16_t slot = req_word(REQ_HISTORY_READ_SLOT);
	uint8_t raw[HISTORY_SIZE];

	if (!KEEP_HISTORY)
		return LINE_BAD_REQUEST;
	put(&history_newest, 2);
	for (uint8_t count = LINE_HISTORY_MAX; count > 0 && history_get(slot--, raw); count--)
		put(raw, HISTORY_SIZE);
	return LINE_OK;
}

/* EEPROM_READ, and BANK_WRITE, which reads what it has written. */
static uint8_t block(bool write)
{
	uint16_t at = req_word(REQ_EEPROM_READ_OFFSET), size = EEPROM_SIZE;
	uint8_t count = req[REQ_EEPROM_READ_COUNT];

	if (write) {
		size = BANK_SIZE - 1;
		count = length - FRAME_REST - REQ_BANK_WRITE_DATA;
	}
	if (count == 0 || count > LINE_MAX_DATA || at > (uint16_t)(size - count))
		return LINE_BAD_RANGE;
	if (write) {
		uint16_t bank = feeder_table_at(feeder_spare());
		/* Void before the first byte changes; the requests after the first cost this byte no wear. */
		if (storage_read(bank - 1) != BANK_VOID)
			banks_mark_spare(BANK_VOID);
		/* Written even where it reads right: a power cut may have left a cell that reads otherwise the next time. */
		at += bank;
		bytes_save(at, req + REQ_BANK_WRITE_DATA, count);
	}
	put_stored(at, count);
	return LINE_OK;
}

static uint8_t bank_verify(void)
{
	uint8_t fault = feeder_open(feeder_spare());

	put_byte(fault);
	put(&cursor_at, 2);
	put(&table.crc, ANS_BANK_VERIFY_SIZE - ANS_BANK_VERIFY_TABLE_CRC);
	banks_reopen();
	return fault == TABLE_GOOD ? LINE_OK : LINE_BAD_TABLE;
}

/* 0: the table that is open is the one that BANK_COMMIT names. An empty one has neither check nor sequence number: both are 0. */
OUTLINED static int differs(void)
{
	return memcmp(&table.crc, req + REQ_BANK_COMMIT_TABLE_CRC, REQ_BANK_COMMIT_SIZE);
}

static uint8_t bank_commit(void)
{
	int8_t ahead = (int8_t)(req[REQ_BANK_COMMIT_SEQUENCE] - table.sequence);
	uint8_t fault, verdict = LINE_STALE;

	if (feeder.bank != NO_BANK && !differs())
		return LINE_OK; /* the answer to the first request was lost */
	feeder_decide(); /* what the old table has due is given first */
	fault = feeder_open(feeder_spare());
	if (!differs() && (feeder.bank == NO_BANK || ahead > 0))
		verdict = LINE_OK;
	banks_reopen();
	if (fault != TABLE_GOOD) {
		put_byte(fault);
		return LINE_BAD_TABLE;
	}
	if (verdict == LINE_OK) {
		feeder_commit();
		feeder_decide();
		if (feeder.bank == NO_BANK || differs())
			verdict = LINE_FAILED;
	}
	return verdict;
}

/* Of a search for the owner: where it goes on, and the remainder of the portions. */
static int32_t next_after, next_carry;

static uint8_t next(void)
{
	uint8_t count = req[REQ_NEXT_COUNT], days = LINE_NEXT_DAYS;
	uint8_t high = req[REQ_NEXT_AFTER + 3];

	if (feeder.bank == NO_BANK)
		return LINE_NO_TABLE;
	if ((uint8_t)(count - 1) >= LINE_NEXT_MAX)
		return LINE_BAD_RANGE;
	bytes_copy4(&next_carry, &journal.carry);
	bytes_copy4(&next_after, req + REQ_NEXT_AFTER);
	if (high > CURSOR_NONE >> 24) {
		if (high != 0xFF)
			return LINE_BAD_RANGE;
		bytes_copy4(&next_after, &journal.cursor);
	}
	do {
		if (feeder_next(&next_after, SEARCH_MINUTES)) {
			put(&serving, sizeof serving.at + sizeof serving.meals);
			put_word(table_pockets(journal.adjust, &next_carry));
			bytes_copy4(&next_after, &serving.at);
			count--;
		} else {
			bytes_add(&next_after, SEARCH_MINUTES);
			days--;
		}
	} while (days > 0 && count > 0);
	put(&next_after, 4);
	return LINE_OK;
}

static uint8_t serve(void)
{
	uint8_t token = req[REQ_SERVE_TOKEN];
	uint16_t pockets = 0;

	if (token != journal.token) {
		if (token != (uint8_t)(journal.token + 1))
			return LINE_BAD_RANGE;
		feeder_time();
		pockets = feeder_manual(req_word(REQ_SERVE_UNITS) | (uint32_t)req[REQ_SERVE_UNITS + 2] << 16, token);
		if (token != journal.token)
			return LINE_REFUSED;
	}
	put_word(pockets);
	return LINE_OK;
}

#define AS_IT_IS 0xFF

static uint8_t settings_answer(void)
{
	uint8_t preset = req[REQ_SETTINGS_PRESET], adjust = req[REQ_SETTINGS_ADJUST];

	if (preset == AS_IT_IS)
		preset = journal.preset;
	if (adjust == AS_IT_IS)
		adjust = journal.adjust;
	if ((preset > 0 && preset >= table.presets) || adjust < 8 || adjust > 12)
		return LINE_BAD_RANGE;
	feeder_preset(preset);
	feeder_adjust(adjust);
	put(&journal.preset, ANS_SETTINGS_SIZE);
	return LINE_OK;
}

static uint8_t faults_clear(void)
{
	faults_acknowledge(req_word(REQ_FAULTS_CLEAR_FAULTS));
	put_word(faults_shown());
	return LINE_OK;
}

static uint8_t hopper(void)
{
	if (!COUNT_HOPPER)
		return LINE_BAD_REQUEST; /* as a board that does not know it */
	feeder_hopper(req_word(REQ_HOPPER_HOLDS));
	put_word(journal.holds);
	put_word(journal.left);
	return LINE_OK;
}

static uint8_t ageing(void)
{
	int8_t value = (int8_t)req[REQ_AGEING_VALUE];

	if (!TRIM_CLOCK)
		return LINE_BAD_REQUEST;
	if (req[REQ_AGEING_WRITE] && !clock_ageing_write(value))
		return LINE_NO_CLOCK;
	if (!clock_ageing_read(&value))
		return LINE_NO_CLOCK;
	put_byte((uint8_t)value);
	return LINE_OK;
}

static uint8_t service_answer(void)
{
	uint8_t status;

	if (!SERVICE)
		return LINE_BAD_REQUEST;
	status = service(req[REQ_SERVICE_TOKEN], req[REQ_SERVICE_ACTION], req[REQ_SERVICE_COUNT], (int16_t)req_word(REQ_SERVICE_TRIM));
	put_byte(service_token);
	put(&service_wires, sizeof service_wires);
	return status;
}

/* Bytes of a request's frame, with the fields of fixed width, by its code. */
static const uint8_t sizes[] FLASH = {
	[CODE_IDENTIFY] = REQ_IDENTIFY_SIZE + FRAME_REST,
	[CODE_STATUS] = REQ_STATUS_SIZE + FRAME_REST,
	[CODE_CLOCK_READ] = REQ_CLOCK_READ_SIZE + FRAME_REST,
	[CODE_CLOCK_SET] = REQ_CLOCK_SET_SIZE + FRAME_REST,
	[CODE_EEPROM_READ] = REQ_EEPROM_READ_SIZE + FRAME_REST,
	[CODE_HISTORY_READ] = REQ_HISTORY_READ_SIZE + FRAME_REST,
	[CODE_BANK_WRITE] = REQ_BANK_WRITE_SIZE + FRAME_REST,
	[CODE_BANK_VERIFY] = REQ_BANK_VERIFY_SIZE + FRAME_REST,
	[CODE_BANK_COMMIT] = REQ_BANK_COMMIT_SIZE + FRAME_REST,
	[CODE_NEXT] = REQ_NEXT_SIZE + FRAME_REST,
	[CODE_SERVE] = REQ_SERVE_SIZE + FRAME_REST,
	[CODE_SETTINGS] = REQ_SETTINGS_SIZE + FRAME_REST,
	[CODE_FAULTS_CLEAR] = REQ_FAULTS_CLEAR_SIZE + FRAME_REST,
	[CODE_AGEING] = REQ_AGEING_SIZE + FRAME_REST,
	[CODE_HOPPER] = REQ_HOPPER_SIZE + FRAME_REST,
	[CODE_SERVICE] = REQ_SERVICE_SIZE + FRAME_REST,
};

/* A switch, not a table of functions: the compiler builds the handlers in, which saves each its frame. */
static uint8_t answer_request(uint8_t code)
{
	uint8_t size;

	if (code >= sizeof sizes)
		return LINE_BAD_REQUEST;
	size = FLASH_BYTE(sizes + code);
	if (length != size && code != CODE_BANK_WRITE)
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
	case CODE_HISTORY_READ:
		return history_read();
	case CODE_EEPROM_READ:
	case CODE_BANK_WRITE:
		return block(code == CODE_BANK_WRITE);
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
	case CODE_HOPPER:
		return hopper();
	case CODE_SERVICE:
		return service_answer();
	default:
		return ageing();
	}
}

void line_answer(void)
{
	bool good = crc_over(CRC_START, content, length) == CRC_GOOD;

	uart_heard(good);
	if (good) {
		fcs = CRC_START;
		uart_send(LINE_FLAG);
		uint8_t code = content[0];
		content[0] = code | LINE_ANSWER;
		put(content, REQ_HEAD);
		put_byte(answer_request(code));
		put_word((uint16_t)~fcs);
		uart_send(LINE_FLAG);
	}
	length = 0;
	flags.ready = false;
	serving_turn_asked(); /* a serving that was asked for; the answer comes first */
}
