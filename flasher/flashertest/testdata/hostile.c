/* Throws frames at the firmware's decoder and messages and watches the EEPROM. Usage: hostile FRAMES SEED
 *
 * Frames are random octets, or messages with bits flipped, octets dropped or doubled, or wrong checks. A reference decoder, read
 * from RFC 1662 sections 4.2, 4.3 and C.2 without the firmware's code (table-driven check, whole frames), says which of them are
 * good. Between two good ones nothing may be written; and no frame at all may change the bank in force, for none of them
 * commits. Ends with 1 and says which frame it was if one does. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "feeder.h"
#include "journal.h"
#include "line.h"
#include "line_format.h"
#include "line_stubs.h"
#include "storage.h"
#include "table_format.h"

static uint8_t cells[EEPROM_SIZE];
static unsigned long writes;

uint8_t storage_read(uint16_t at) { return at < EEPROM_SIZE ? cells[at] : 0xFF; }

void storage_write(uint16_t at, uint8_t value)
{
	writes++;
	if (at < EEPROM_SIZE)
		cells[at] = value;
}

void storage_refresh(uint16_t at, uint8_t value)
{
	storage_write(at, value);
}

/* xorshift64* (Vigna, 2016). */
static uint64_t state;

static uint32_t next_random(void)
{
	state ^= state >> 12;
	state ^= state << 25;
	state ^= state >> 27;
	return (uint32_t)(state * 2685821657736338717ULL >> 32);
}

static uint16_t fcs_table[256];

static void make_table(void)
{
	for (unsigned b = 0; b < 256; b++) {
		unsigned v = b;
		for (int i = 0; i < 8; i++)
			v = v & 1 ? v >> 1 ^ 0x8408 : v >> 1;
		fcs_table[b] = (uint16_t)v;
	}
}

static uint16_t fcs_of(const uint8_t *p, unsigned n)
{
	uint16_t fcs = 0xFFFF;

	while (n--)
		fcs = (uint16_t)(fcs >> 8 ^ fcs_table[(fcs ^ *p++) & 0xFF]);
	return fcs;
}

/* The octets between two flags. */
static uint8_t between[4096];
static unsigned between_size;

/* Whether what lies between two flags is a good frame. */
static bool good(void)
{
	static uint8_t plain[4096];
	unsigned n = 0;

	for (unsigned i = 0; i < between_size; i++) {
		if (between[i] != 0x7D)
			plain[n++] = between[i];
		else if (++i < between_size)
			plain[n++] = between[i] ^ 0x20;
		else
			return false; /* aborted: 7D 7E */
	}
	return n >= 4 && fcs_of(plain, n) == 0xF0B8;
}

static uint8_t out[1024];
static unsigned out_size;

static void put(uint8_t octet)
{
	if (octet == 0x7E || octet == 0x7D) {
		out[out_size++] = 0x7D;
		octet ^= 0x20;
	}
	out[out_size++] = octet;
}

/* A frame as an enemy or a bad line makes it; none commits. */
static void make_frame(void)
{
	uint8_t content[128];
	unsigned n = next_random() % 112;
	uint16_t fcs;

	for (unsigned i = 0; i < n; i++)
		content[i] = (uint8_t)next_random();
	if (n > 0 && next_random() % 4)
		content[0] = (uint8_t)(next_random() % 17);
	if (n > 0 && (content[0] == CODE_BANK_COMMIT || content[0] == CODE_NEXT)) /* NEXT searches months: slow, writes nothing */
		content[0] = CODE_BANK_WRITE;
	fcs = (uint16_t)~fcs_of(content, n);
	if (next_random() % 4)
		fcs ^= (uint16_t)next_random();
	out_size = 0;
	out[out_size++] = 0x7E;
	for (unsigned i = 0; i < n; i++)
		put(content[i]);
	put((uint8_t)fcs);
	put((uint8_t)(fcs >> 8));
	for (unsigned k = next_random() % 3; k > 0; k--) {
		unsigned at = next_random() % out_size;
		if (next_random() % 2)
			out[at] ^= (uint8_t)(1 << next_random() % 8);
		else
			memmove(out + at, out + at + 1, --out_size - at);
	}
	if (next_random() % 8)
		out[out_size++] = 0x7E;
}

/* A table of one meal at noon, for the board with code 1, in bank 0. */
static void install(void)
{
	static const uint8_t head[] = {TABLE_VERSION << 4, 0, 1, 7, 0, 0x48, 0x26, 0, 0, 1, 0, 0, 0, 1, 48};
	uint16_t fcs;
	uint8_t size = sizeof head + 2;

	memset(cells, 0xFF, sizeof cells);
	memcpy(cells + 1, head, sizeof head);
	cells[2] = size;
	fcs = (uint16_t)~fcs_of(cells + 1, sizeof head);
	cells[1 + sizeof head] = (uint8_t)fcs;
	cells[2 + sizeof head] = (uint8_t)(fcs >> 8);
	cells[0] = BANK_COMMITTED;
}

int main(int argc, char **argv)
{
	unsigned long frames = argc > 1 ? strtoul(argv[1], 0, 10) : 100000;
	unsigned long goods = 0, obeyed = 0;
	bool flagged = false; /* the reference decoder has seen a flag */
	static uint8_t before[BANK_SIZE];

	state = argc > 2 ? strtoull(argv[2], 0, 10) * 2 + 1 : 1;
	make_table();
	install();
	feeder_start();
	feeder_decide();
	if (feeder.bank != 0) {
		puts("the table was not taken");
		return 1;
	}
	memcpy(before, cells, sizeof before);
	for (unsigned long i = 0; i < frames; i++) {
		make_frame();
		for (unsigned k = 0; k < out_size; k++) {
			unsigned long seen = writes;
			bool is_good = false;
			stub_output_size = 0;
			if (out[k] == 0x7E) {
				is_good = flagged && good();
				flagged = true;
				between_size = 0;
			} else if (between_size < sizeof between) {
				between[between_size++] = out[k];
			}
			line_receive(out[k]);
			if (line_ready())
				line_answer();
			goods += is_good;
			obeyed += stub_output_size > 0;
			if (!is_good && (writes != seen || stub_output_size > 0)) {
				printf("frame %lu: a frame that is not good was obeyed\n", i);
				return 1;
			}
		}
		if (feeder.bank != 0 || memcmp(before, cells, sizeof before) != 0) {
			printf("frame %lu: the bank in force has changed\n", i);
			return 1;
		}
	}
	printf("%lu frames, %lu good, %lu answered, %lu cells written\n", frames, goods, obeyed, writes);
	return 0;
}
