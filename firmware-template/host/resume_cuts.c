/* The resume rule, checked for every serving of 1 to 40 pockets that is cut up to 20 times, each time at every place, with and without
 * an index switch: the real journal.c writes, is cut and reads, and what was really turned is compared with what was wanted. And once
 * more where each of the cuts may be a program that hangs, with the wheel turning on until the watchdog comes.
 *
 * What a cut leads to depends on the record only (pockets, resumptions), so all sequences are walked by keeping, for each record that
 * so many cuts can lead to, the least and the most that was turned too much on any way to it.
 *
 * Prints the records walked and the bounds found, or the first fault, and returns 1. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal.h"
#include "storage.h"
#include "table_format.h"

#define MOST_POCKETS 40
#define MOST_CUTS 20
#define RESUMPTIONS 16
#define PHASES 100 /* of a pocket */
#define RUNS_ON 49 /* at most, when the program hangs: 141 ms of 310 (two periods of 64 ms, a tenth slow), and a little */

static uint8_t cells[EEPROM_SIZE];
static long walked;

uint8_t storage_read(uint16_t at) { return cells[at]; }
void storage_write(uint16_t at, uint8_t value) { cells[at] = value; }

/* Turned too much, in hundredths of a pocket, over all ways to a record. */
typedef struct {
	bool reached;
	int least, most;
} range_t;

static range_t now[MOST_POCKETS + 1][RESUMPTIONS], next[MOST_POCKETS + 1][RESUMPTIONS];

static void fail(const char *what, int pockets, int cuts, int by)
{
	printf("%s: %d pockets, %d cuts, %d hundredths\n", what, pockets, cuts, by);
	exit(1);
}

static void join(range_t *to, int least, int most)
{
	if (!to->reached || least < to->least)
		to->least = least;
	if (!to->reached || most > to->most)
		to->most = most;
	to->reached = true;
}

/* Writes the record and its steps up to the pocket at which the power fails. A serving goes on in further records: see turn(). */
static void play(int left, int resumed, int pocket)
{
	journal.kind = (uint8_t)(KIND_SERVING + RESUMED * resumed);
	journal.pockets = (uint16_t)left;
	journal_append();
	for (; pocket > POCKETS_PER_SLOT; pocket -= POCKETS_PER_SLOT) {
		for (int n = 1; n <= POCKETS_PER_SLOT; n++)
			journal_step((uint8_t)n);
		journal.pockets -= POCKETS_PER_SLOT;
		journal_append();
	}
	for (int n = 1; n <= pocket; n++)
		journal_step((uint8_t)n);
}

/* What a cut turns too much that comes so many hundredths of a pocket after the record's beginning, the record afterwards wanting
 * `left` pockets. */
static int too_much(int before, int left, int turned, bool index_switch)
{
	int whole = (before - left) * PHASES; /* that the record counts as turned */

	/* The switch ends each pocket where it should end: what was turned of it does not matter. */
	return (index_switch ? turned / PHASES * PHASES : turned) - whole;
}

typedef struct { uint8_t left, resumed; } outcome_t;

/* What a restart makes of a record that was cut in such a pocket, 0 being before the first. */
static outcome_t outcome(int left, int resumed, int pocket, bool torn, bool hung, bool index_switch)
{
	static outcome_t known[2][MOST_POCKETS + 1][RESUMPTIONS][MOST_POCKETS + 1][2][2];
	static bool has[2][MOST_POCKETS + 1][RESUMPTIONS][MOST_POCKETS + 1][2][2];
	outcome_t *o = &known[index_switch][left][resumed][pocket][torn][hung];

	if (!has[index_switch][left][resumed][pocket][torn][hung]) {
		play(left, resumed, pocket);
		if (torn)
			cells[journal.at + JOURNAL_STEPS + (pocket - (pocket > POCKETS_PER_SLOT) * POCKETS_PER_SLOT) % 2] = 0x7F;
		journal_open();
		journal_resume(index_switch, hung);
		*o = (outcome_t){(uint8_t)journal.pockets, journal.kind / RESUMED};
		has[index_switch][left][resumed][pocket][torn][hung] = true;
	}
	return *o;
}

static void add(range_t *to, range_t range, int by)
{
	join(to, range.least + by, range.most + by);
	walked++;
}

/* All places of the next cut of a serving, or at which the program hangs. */
static void cut(int left, int resumed, range_t range, bool index_switch, bool hangs)
{
	static const int phases[] = {0, 1, PHASES / 2, PHASES - 1, PHASES};

	for (int pocket = 0; pocket <= left; pocket++) {
		for (unsigned i = 0; i < sizeof phases / sizeof *phases; i++) {
			for (int torn = 0; torn < 2; torn++) {
				if ((torn || pocket == 0) && phases[i] > 0)
					continue; /* the step is written as the pocket begins, before it has turned */
				int turned = pocket == 0 ? 0 : (pocket - 1) * PHASES + phases[i];
				outcome_t o = outcome(left, resumed, pocket, torn, false, index_switch);
				add(&next[o.left][o.resumed], range, too_much(left, o.left, turned, index_switch));
				if (!hangs || torn || pocket == 0)
					continue;
				o = outcome(left, resumed, pocket, torn, true, index_switch);
				add(&next[o.left][o.resumed], range, too_much(left, o.left, turned, index_switch));
				add(&next[o.left][o.resumed], range, too_much(left, o.left, turned + RUNS_ON, index_switch));
			}
		}
	}
}

static void walk(int pockets, bool index_switch, bool hangs, int *least, int *most)
{
	memset(now, 0, sizeof now);
	join(&now[pockets][0], 0, 0);
	for (int cuts = 1; cuts <= MOST_CUTS; cuts++) {
		memset(next, 0, sizeof next);
		for (int left = 1; left <= pockets; left++)
			for (int resumed = 0; resumed < RESUMPTIONS; resumed++)
				if (now[left][resumed].reached)
					cut(left, resumed, now[left][resumed], index_switch, hangs);
		for (int left = 0; left <= pockets; left++) {
			for (int resumed = 0; resumed < RESUMPTIONS; resumed++) {
				range_t r = next[left][resumed];
				if (!r.reached)
					continue;
				if (r.most > PHASES + (hangs ? RUNS_ON : 0)) /* a pocket falls when half of it has turned */
					fail("more than a pocket too many", pockets, cuts, r.most);
				if (!hangs && cuts <= 2 && r.least < -PHASES)
					fail("one or two cuts leave out more than a pocket", pockets, cuts, r.least);
				if (r.least < *least)
					*least = r.least;
				if (r.most > *most)
					*most = r.most;
			}
		}
		memcpy(now, next, sizeof now);
	}
}

int main(void)
{
	memset(cells, 0xFF, sizeof cells);
	journal_open();
	for (int way = 0; way < 4; way++) {
		bool index_switch = way & 1, hangs = way & 2;
		int least = 0, most = 0;

		for (int pockets = 1; pockets <= MOST_POCKETS; pockets++)
			walk(pockets, index_switch, hangs, &least, &most);
		printf("%s%s: at most %d too few, %d too many, hundredths\n", index_switch ? "with a switch" : "by time", hangs ? ", hanging too" : "", -least, most);
	}
	printf("%ld cuts\n", walked);
	return 0;
}
