/* The journal against a plain model, with the power cut in the middle of every write. A cut leaves the byte of the cut as
 * ATmega328P cells may be left: in the erase phase the old byte with some ones added, in the program phase the new byte
 * with some ones left, and reading as something in between, differently each time.
 *
 * Usage: journal_cuts SEED ROUNDS. Prints the number of cuts, or the first fault and its seed, and returns 1. */
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal.h"
#include "storage.h"
#include "table_format.h"

static uint8_t cells[EEPROM_SIZE];
static uint8_t torn[EEPROM_SIZE]; /* bits that read as they like */
static long writes_left;          /* until the cut; negative: none */
static jmp_buf cut;
static unsigned long long random_state;
static unsigned long seed;

static unsigned random_below(unsigned n)
{
	random_state = random_state * 6364136223846793005ULL + 1442695040888963407ULL;
	return (unsigned)(random_state >> 33) % n;
}

uint8_t storage_read(uint16_t at)
{
	return cells[at] | (torn[at] & (uint8_t)random_below(256));
}

void storage_write(uint16_t at, uint8_t value)
{
	if (writes_left >= 0 && writes_left-- == 0) {
		cells[at] = random_below(2) ? cells[at] : value;
		/* every further one is stable, or reads as it likes */
		torn[at] = (uint8_t)random_below(256) & (uint8_t)random_below(256);
		cells[at] |= (uint8_t)random_below(256) & (uint8_t)~torn[at] & (uint8_t)random_below(256);
		longjmp(cut, 1);
	}
	cells[at] = value;
	torn[at] = 0;
}

static void fail(const char *what)
{
	printf("seed %lu: %s\n", seed, what);
	exit(1);
}

static bool same_state(const journal_t *a, const journal_t *b)
{
	return a->cursor == b->cursor && a->carry == b->carry && a->preset == b->preset && a->adjust == b->adjust && a->token == b->token;
}

static journal_t random_journal(void)
{
	journal_t j = {
		.cursor = (int32_t)random_below(CURSOR_NONE),
		.carry = (int32_t)random_below(10000000) - 5000000,
		.pockets = (uint16_t)random_below(POCKETS_PER_SLOT),
		.preset = (uint8_t)random_below(8),
		.adjust = (uint8_t)(8 + random_below(5)),
		.kind = (uint8_t)(random_below(3) + RESUMED * random_below(16)),
		.token = (uint8_t)random_below(256),
	};

	return j;
}

/* What the journal may say after a restart: the old or the new record, and steps. */
static journal_t before, after;
static volatile int done;    /* steps whose write has returned */
static volatile bool begun;  /* the append has returned */

static void operate(void)
{
	begun = false;
	done = 0;
	after.mark = journal.mark; /* it goes on from the record before it */
	after.at = journal.at;
	after.seal = journal.seal;
	journal = after;
	journal_append();
	begun = true;
	for (int step = 1; after.pockets > 0 && step <= after.pockets + 1; step++) {
		journal_step((uint8_t)step);
		done = step;
	}
}

/* The pockets that may be left when the write of step done + 1 was cut: pocket `done` was turning or had just ended. */
static void check_left(int left)
{
	int turned = done > 0 ? done - 1 : 0; /* at least so many; at most one more, counting the one that was turning */

	if (after.pockets == 0) {
		if (left != 0)
			fail("pockets left of none");
		return;
	}
	if (left > after.pockets - turned || left < after.pockets - (done < after.pockets ? done + 1 : done))
		fail("pockets left are off by more than one");
}

/* Restarts: reads what is there, and writes it again as the feeder does. */
static void restart(void)
{
	journal_t read;

	journal_open();
	if (!same_state(&journal, &after) && (begun || !same_state(&journal, &before)))
		fail("the state is neither the old nor the new one");
	read = journal;
	/* What is sealed need not be written again to stay decided. */
	for (int again = 0; again < 5 && journal_sealed() && journal.pockets == 0; again++) {
		journal_open();
		if (!same_state(&journal, &read) || journal.at != read.at)
			fail("a sealed record reads otherwise the next time");
	}
	journal_resume(false, false);
	if (same_state(&read, &after) && !same_state(&before, &after))
		check_left(journal.pockets);
	journal_append();
	read = journal;
	for (int again = 0; again < 5; again++) {
		journal_open();
		if (!same_state(&journal, &read) || !journal_sealed() || journal_resume(false, false) || journal.pockets != read.pockets)
			fail("a restart does not stay decided");
	}
	before = journal;
}

static long run(long rounds)
{
	volatile long cuts = 0;

	memset(cells, 0xFF, sizeof cells);
	writes_left = -1;
	journal_open();
	before = journal;
	for (volatile long i = 0; i < rounds; i++) {
		after = random_journal();
		writes_left = random_below(4) ? (long)random_below(JOURNAL_SIZE + after.pockets + 4u) : -1;
		if (setjmp(cut) == 0)
			operate();
		else
			cuts++;
		writes_left = -1;
		restart();
	}
	return cuts;
}

int main(int argc, char **argv)
{
	if (argc != 3)
		return 2;
	seed = strtoul(argv[1], NULL, 10);
	random_state = seed;
	printf("%ld cuts\n", run(strtol(argv[2], NULL, 10)));
	return 0;
}
