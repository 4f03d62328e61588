/* The table engine behind a pipe, one command a line:
 *   T hex                        open the table                  answers "good" or "bad CODE AT"
 *   R after limit preset slice n carry adjust
 *                                up to n servings, searched in slices of minutes;
 *                                answers "AT MEALS POCKETS" each, then "end CARRY"
 *   C hex                        check value of the bytes        answers four hex digits
 * MEALS are eight bytes in hex, meal 0 in the lowest bit of the first. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "crc.h"
#include "cursor.h"
#include "storage_host.h"
#include "table.h"

static int hex_bytes(const char *text, uint8_t *to, int room)
{
	int n = 0;
	unsigned value;

	while (n < room && sscanf(text, "%2x", &value) == 1) {
		to[n++] = (uint8_t)value;
		text += 2;
	}
	return n;
}

static void open_table(const char *hex)
{
	int n;
	uint8_t fault;

	memset(host_storage, 0xFF, sizeof host_storage);
	n = hex_bytes(hex, host_storage + 1, HOST_STORAGE_SIZE - 1);
	fault = table_open(1, (uint16_t)n);
	if (fault == TABLE_GOOD)
		puts("good");
	else
		printf("bad %d %d\n", fault, cursor_at - 1);
}

static void print_serving(int adjust, int32_t *carry)
{
	printf("%ld ", (long)serving.at);
	for (int i = 0; i < SERVING_MEALS_BYTES; i++)
		printf("%02x", serving.meals[i]);
	printf(" %u\n", table_pockets((uint8_t)adjust, carry));
}

static void run(const char *args)
{
	long after, limit, slice, carry_in;
	int preset, n, adjust;
	int32_t carry, end = INT32_MAX;

	if (sscanf(args, "%ld %ld %d %ld %d %ld %d", &after, &limit, &preset, &slice, &n, &carry_in, &adjust) != 7)
		exit(2);
	carry = (int32_t)carry_in;
	/* as the feeder: of a preset that has been chosen before it ends */
	if (table.presets_until && preset < ALL_PRESETS && after < table_presets_end())
		end = table_presets_end();
	while (n > 0 && after < limit) {
		long to = after + slice < limit ? after + slice : limit;
		if (table_next_ending((int32_t)after, (uint16_t)(to - after), (uint8_t)preset, end)) {
			print_serving(adjust, &carry);
			after = serving.at;
			n--;
		} else {
			after = to;
		}
	}
	printf("end %ld\n", (long)carry);
}

static void check(const char *hex)
{
	static uint8_t bytes[HOST_STORAGE_SIZE];
	int n = hex_bytes(hex, bytes, sizeof bytes);
	uint16_t crc = CRC_START;

	for (int i = 0; i < n; i++)
		crc = crc_add(crc, bytes[i]);
	printf("%04X\n", (uint16_t)~crc);
}

int main(void)
{
	static char line[3 * HOST_STORAGE_SIZE];

	while (fgets(line, sizeof line, stdin)) {
		switch (line[0]) {
		case 'T':
			open_table(line + 2);
			break;
		case 'R':
			run(line + 2);
			break;
		case 'C':
			check(line + 2);
			break;
		default:
			return 2;
		}
		fflush(stdout);
	}
	return 0;
}
