#include "line.h"

#include "board.h"
#include "bytes.h"
#include "clock.h"
#include "crc.h"
#include "cursor.h"
#include "feeder.h"
#include "history.h"
#include "journal.h"
#include "line_format.h"
#include "power.h"
#include "storage.h"
#include "table.h"

#define FCS_SIZE 2
#define REQ_HEAD 2 /* code, sequence number */
#define ANS_HEAD 3 /* and status */

#define FIRMWARE_VERSION 1
#define MAX_SERVE_UNITS 100000000

/* ---- frames ---- */

/* A request, and in its place the answer. Owned by the interrupt until ready is set, by line_answer until it is cleared. */
static uint8_t content[LINE_MAX_CONTENT + FCS_SIZE];
static volatile bool ready;
static uint8_t length;
static bool inside, escaped; /* a flag was seen; an escape was seen */

void line_reset(void)
{
	inside = false;
	escaped = false;
	ready = false;
	length = 0;
}

bool line_ready(void)
{
	return ready;
}

/* The check is left to line_answer: an interrupt has no time for it. */
static void end_of_frame(void)
{
	if (inside && !escaped && length >= REQ_HEAD + FCS_SIZE)
		ready = true;
	else
		length = 0;
	inside = true;
	escaped = false;
}

/* About 70 cycles with its interrupt; an octet takes 1388 at 57,600 baud and 8 MHz. */
void line_receive(uint8_t octet)
{
	if (ready)
		return;
	if (octet == LINE_FLAG) {
		end_of_frame();
	} else if (octet == LINE_ESCAPE) {
		escaped = true;
	} else if (!inside || length >= sizeof content) {
		inside = false; /* too long for any message: wait for the next flag */
	} else {
		content[length++] = escaped ? octet ^ LINE_INVERT : octet;
		escaped = false;
	}
}

static bool check_good(void)
{
	uint16_t fcs = CRC_START;

	for (uint8_t i = 0; i < length; i++)
		fcs = crc_add(fcs, content[i]);
	return fcs == LINE_FCS_GOOD;
}

static void send_octet(uint8_t octet)
{
	if (octet == LINE_FLAG || octet == LINE_ESCAPE) {
		uart_send(LINE_ESCAPE);
		octet ^= LINE_INVERT;
	}
	uart_send(octet);
}

static void send_content(uint8_t n)
{
	uint16_t fcs = CRC_START;

	uart_send(LINE_FLAG);
	for (uint8_t i = 0; i < n; i++) {
		send_octet(content[i]);
		fcs = crc_add(fcs, content[i]);
	}
	fcs = ~fcs;
	send_octet((uint8_t)fcs);
	send_octet((uint8_t)(fcs >> 8));
	uart_send(LINE_FLAG);
}

/* ---- messages ---- */

/* Each handler finds the request's payload in req and its length in req_size, leaves the answer's payload in ans and
 * its length in ans_size, and returns a status. Both lie in the same buffer: read first, then write. */
static uint8_t *const req = content + REQ_HEAD;
static uint8_t *const ans = content + ANS_HEAD;
static uint8_t req_size, ans_size;

static uint8_t spare(void)
{
	return feeder_bank == 0 ? 1 : 0;
}

static uint8_t identify(void)
{
	ans[ANS_IDENTIFY_PROTOCOL] = LINE_VERSION;
	ans[ANS_IDENTIFY_FORMAT] = TABLE_VERSION;
	bytes_put(ans + ANS_IDENTIFY_FIRMWARE, FIRMWARE_VERSION, 2);
	ans[ANS_IDENTIFY_BOARD] = BOARD_CODE;
	bytes_put(ans + ANS_IDENTIFY_EEPROM_SIZE, EEPROM_SIZE, 2);
	bytes_put(ans + ANS_IDENTIFY_BANK_SIZE, BANK_SIZE, 2);
	ans[ANS_IDENTIFY_MAX_DATA] = LINE_MAX_DATA;
	bytes_put(ans + ANS_IDENTIFY_HISTORY_SLOTS, history_slots(), 2);
	bytes_put(ans + ANS_IDENTIFY_CLOCK_KHZ, BOARD_CLOCK / 1000, 2);
	return LINE_OK;
}

static uint8_t status(void)
{
	feeder_time();
	ans[ANS_STATUS_BANK] = feeder_bank;
	ans[ANS_STATUS_SEQUENCE] = table.sequence;
	bytes_put(ans + ANS_STATUS_TABLE_CRC, table.crc, 2);
	bytes_put(ans + ANS_STATUS_NOW, feeder_now, 4);
	bytes_put(ans + ANS_STATUS_CURSOR, (uint32_t)journal.cursor, 4);
	ans[ANS_STATUS_PRESET] = journal.preset;
	ans[ANS_STATUS_ADJUST] = journal.adjust;
	bytes_put(ans + ANS_STATUS_CARRY, (uint32_t)journal.carry, 4);
	ans[ANS_STATUS_FAULTS] = feeder_faults;
	bytes_put(ans + ANS_STATUS_SUPPLY, power_supply(), 2);
	ans[ANS_STATUS_TOKEN] = journal.token;
	bytes_put(ans + ANS_STATUS_CLOCK_SET, settings.clock_set, 4);
	ans[ANS_STATUS_PRESETS] = table.presets;
	bytes_put(ans + ANS_STATUS_TICKS, power_ticks, 4);
	return LINE_OK;
}

static uint8_t clock_read_answer(void)
{
	uint32_t first = 0, now = 0;
	bool edge = req[REQ_CLOCK_READ_EDGE];
	uint8_t answer = clock_read(&first);

	now = first;
	/* A reading takes 0.5 to 2 ms, so the seconds change within 2,500 of them. */
	for (uint16_t n = 0; edge && answer == CLOCK_GOOD && now == first && n < 2500; n++)
		answer = clock_read(&now);
	if (answer == CLOCK_SILENT)
		return LINE_NO_CLOCK;
	bytes_put(ans + ANS_CLOCK_READ_NOW, now, 4);
	ans[ANS_CLOCK_READ_STOPPED] = answer == CLOCK_STOPPED;
	return LINE_OK;
}

static uint8_t clock_set_answer(void)
{
	/* A frame that a noisy line delivers twice must not set an old time. */
	static uint8_t last_sequence;
	static uint32_t last_seconds;
	uint32_t seconds = bytes_get(req + REQ_CLOCK_SET_NOW, 4);

	if (content[1] == last_sequence && seconds == last_seconds)
		return LINE_OK;
	if (seconds < 60 || seconds / 86400 > TABLE_MAX_DAY)
		return LINE_BAD_RANGE;
	if (!clock_set(seconds))
		return LINE_NO_CLOCK;
	last_sequence = content[1];
	last_seconds = seconds;
	feeder_clock_was_set(seconds);
	return LINE_OK;
}

static uint8_t eeprom_read(void)
{
	uint16_t at = (uint16_t)bytes_get(req + REQ_EEPROM_READ_OFFSET, 2);
	uint8_t count = req[REQ_EEPROM_READ_COUNT];

	if (count == 0 || count > LINE_MAX_DATA || at > (uint16_t)(EEPROM_SIZE - count))
		return LINE_BAD_RANGE;
	for (ans_size = 0; ans_size < count; ans_size++)
		ans[ans_size] = storage_read(at + ans_size);
	return LINE_OK;
}

static uint8_t history_read(void)
{
	uint16_t index = (uint16_t)bytes_get(req + REQ_HISTORY_READ_INDEX, 2);
	uint8_t count = req[REQ_HISTORY_READ_COUNT];

	if (count == 0 || count > LINE_HISTORY_MAX)
		return LINE_BAD_RANGE;
	for (; count > 0 && history_get(index++, ans + ans_size); count--)
		ans_size += HISTORY_SIZE;
	return LINE_OK;
}

static uint8_t bank_write(void)
{
	uint16_t at = (uint16_t)bytes_get(req + REQ_BANK_WRITE_OFFSET, 2);
	uint8_t count = req_size - REQ_BANK_WRITE_DATA;
	uint16_t to = feeder_table_at(spare());

	if (count == 0 || count > LINE_MAX_DATA || at > (uint16_t)(BANK_SIZE - 1 - count))
		return LINE_BAD_RANGE;
	/* Void before the first byte changes. */
	if (storage_read(to - 1) != BANK_VOID)
		storage_write(to - 1, BANK_VOID);
	for (uint8_t i = 0; i < count; i++) {
		uint8_t byte = req[REQ_BANK_WRITE_DATA + i];
		if (storage_read(to + at + i) != byte) /* a repeated request costs no wear */
			storage_write(to + at + i, byte);
	}
	ans[ANS_BANK_WRITE_BANK] = spare();
	return LINE_OK;
}

/* Opens the spare bank's table and says what it is; the caller opens the one in force again. */
static uint8_t open_spare(uint16_t *at)
{
	uint8_t fault = feeder_open(spare());

	*at = cursor_at - feeder_table_at(spare());
	return fault;
}

static void reopen(void)
{
	if (feeder_bank != NO_BANK)
		feeder_open(feeder_bank);
}

static uint8_t bank_verify(void)
{
	uint16_t at;
	uint8_t fault = open_spare(&at);

	ans[ANS_BANK_VERIFY_BANK] = spare();
	ans[ANS_BANK_VERIFY_FAULT] = fault;
	bytes_put(ans + ANS_BANK_VERIFY_FAULT_AT, at, 2);
	ans[ANS_BANK_VERIFY_SEQUENCE] = table.sequence;
	bytes_put(ans + ANS_BANK_VERIFY_TABLE_CRC, table.crc, 2);
	reopen();
	return fault == TABLE_GOOD ? LINE_OK : LINE_BAD_TABLE;
}

static bool is_open(uint8_t sequence, uint16_t crc)
{
	return table.sequence == sequence && table.crc == crc;
}

static uint8_t bank_commit(void)
{
	uint8_t sequence = req[REQ_BANK_COMMIT_SEQUENCE];
	uint16_t crc = (uint16_t)bytes_get(req + REQ_BANK_COMMIT_TABLE_CRC, 2);
	uint8_t fault, before = table.sequence;
	uint16_t at;
	bool meant;

	ans[ANS_BANK_COMMIT_FAULT] = TABLE_GOOD;
	ans[ANS_BANK_COMMIT_BANK] = feeder_bank;
	if (feeder_bank != NO_BANK && is_open(sequence, crc))
		return LINE_OK; /* the answer to the first request was lost */
	feeder_decide(); /* what the old table has due is given first */
	fault = open_spare(&at);
	meant = is_open(sequence, crc) && (feeder_bank == NO_BANK || (int8_t)(sequence - before) > 0);
	reopen();
	ans[ANS_BANK_COMMIT_FAULT] = fault;
	if (fault != TABLE_GOOD)
		return LINE_BAD_TABLE;
	if (!meant)
		return LINE_STALE;
	feeder_commit();
	ans[ANS_BANK_COMMIT_BANK] = feeder_bank;
	if (feeder_bank == NO_BANK || !is_open(sequence, crc))
		return LINE_FAILED;
	feeder_decide();
	return LINE_OK;
}

/* Appends one serving to the answer: minute, pockets, first meal, number of meals. */
static void put_serving(const serving_t *s, int32_t *carry)
{
	uint8_t first = 0, count = 0;

	for (uint8_t meal = TABLE_MAX_MEALS; meal-- > 0;)
		if (s->meals[meal >> 3] >> (meal & 7) & 1) {
			first = meal;
			count++;
		}
	bytes_put(ans + ans_size, (uint32_t)s->at, 4);
	bytes_put(ans + ans_size + 4, table_pockets(s, journal.adjust, carry), 2);
	ans[ans_size + 6] = first;
	ans[ans_size + 7] = count;
	ans_size += LINE_NEXT_SIZE;
}

static uint8_t next(void)
{
	int32_t after = (int32_t)bytes_get(req + REQ_NEXT_AFTER, 4);
	int32_t carry = journal.carry;
	uint8_t count = req[REQ_NEXT_COUNT];
	serving_t s;

	if (feeder_bank == NO_BANK)
		return LINE_NO_TABLE;
	if (after == -1)
		after = journal.cursor;
	if (count == 0 || count > LINE_NEXT_MAX || after < 0 || after > CURSOR_NONE)
		return LINE_BAD_RANGE;
	for (uint8_t days = LINE_NEXT_DAYS; days > 0 && count > 0;) {
		power_tick();
		if (table_next(after, SEARCH_MINUTES, journal.preset, &s)) {
			put_serving(&s, &carry);
			after = s.at;
			count--;
		} else {
			after += SEARCH_MINUTES;
			days--;
		}
	}
	bytes_put(ans + ANS_NEXT_SEARCHED, (uint32_t)after, 4);
	return LINE_OK;
}

static uint8_t serve(void)
{
	uint8_t token = req[REQ_SERVE_TOKEN];
	uint32_t units = bytes_get(req + REQ_SERVE_UNITS, 4);
	uint16_t pockets = 0;

	if (token != journal.token) {
		if (token != (uint8_t)(journal.token + 1) || units > MAX_SERVE_UNITS)
			return LINE_BAD_RANGE;
		feeder_time();
		pockets = feeder_manual(units, token);
		if (token != journal.token)
			return LINE_REFUSED;
	}
	bytes_put(ans + ANS_SERVE_POCKETS, pockets, 2);
	return LINE_OK;
}

static uint8_t settings_answer(void)
{
	uint8_t preset = req[REQ_SETTINGS_PRESET], adjust = req[REQ_SETTINGS_ADJUST];

	if ((preset != 0xFF && preset != 0 && preset >= table.presets) || (adjust != 0xFF && (adjust < 8 || adjust > 12)))
		return LINE_BAD_RANGE;
	if (preset != 0xFF) {
		feeder_decide();
		feeder_preset(preset);
		feeder_decide();
	}
	if (adjust != 0xFF)
		feeder_adjust(adjust);
	ans[ANS_SETTINGS_PRESET] = journal.preset;
	ans[ANS_SETTINGS_ADJUST] = journal.adjust;
	return LINE_OK;
}

static uint8_t faults_clear(void)
{
	feeder_faults &= (uint8_t)~req[REQ_FAULTS_CLEAR_FAULTS];
	ans[ANS_FAULTS_CLEAR_FAULTS] = feeder_faults;
	return LINE_OK;
}

static uint8_t ageing(void)
{
	int8_t value = (int8_t)req[REQ_AGEING_VALUE];

	if (req[REQ_AGEING_WRITE]) {
		if (!clock_ageing_write(value))
			return LINE_NO_CLOCK;
		settings.ageing = value;
		settings_write();
	}
	if (!clock_ageing_read(&value))
		return LINE_NO_CLOCK;
	ans[ANS_AGEING_VALUE] = (uint8_t)value;
	return LINE_OK;
}

typedef struct {
	uint8_t request, answer; /* bytes of the fields of fixed width */
	bool open_ended;         /* data follow in the request */
	uint8_t (*obey)(void);
} message_t;

/* In order of code, from 1. */
static const message_t messages[] = {
	{REQ_IDENTIFY_SIZE, ANS_IDENTIFY_SIZE, false, identify},
	{REQ_STATUS_SIZE, ANS_STATUS_SIZE, false, status},
	{REQ_CLOCK_READ_SIZE, ANS_CLOCK_READ_SIZE, false, clock_read_answer},
	{REQ_CLOCK_SET_SIZE, ANS_CLOCK_SET_SIZE, false, clock_set_answer},
	{REQ_EEPROM_READ_SIZE, ANS_EEPROM_READ_SIZE, false, eeprom_read},
	{REQ_HISTORY_READ_SIZE, ANS_HISTORY_READ_SIZE, false, history_read},
	{REQ_BANK_WRITE_SIZE, ANS_BANK_WRITE_SIZE, true, bank_write},
	{REQ_BANK_VERIFY_SIZE, ANS_BANK_VERIFY_SIZE, false, bank_verify},
	{REQ_BANK_COMMIT_SIZE, ANS_BANK_COMMIT_SIZE, false, bank_commit},
	{REQ_NEXT_SIZE, ANS_NEXT_SIZE, false, next},
	{REQ_SERVE_SIZE, ANS_SERVE_SIZE, false, serve},
	{REQ_SETTINGS_SIZE, ANS_SETTINGS_SIZE, false, settings_answer},
	{REQ_FAULTS_CLEAR_SIZE, ANS_FAULTS_CLEAR_SIZE, false, faults_clear},
	{REQ_AGEING_SIZE, ANS_AGEING_SIZE, false, ageing},
};

static uint8_t obey(void)
{
	uint8_t index = content[0] - 1;
	const message_t *m = messages + index;

	ans_size = 0;
	if (index >= sizeof messages / sizeof *messages || req_size < m->request || (req_size > m->request && !m->open_ended))
		return LINE_BAD_REQUEST;
	ans_size = m->answer;
	return m->obey();
}

void line_answer(void)
{
	uint8_t result;

	if (check_good()) {
		req_size = length - REQ_HEAD - FCS_SIZE;
		result = obey();
		content[0] |= LINE_ANSWER;
		content[REQ_HEAD] = result;
		send_content(ANS_HEAD + ans_size);
	}
	length = 0;
	ready = false;
	feeder_turn(); /* a serving that was asked for; the answer comes first */
}
