/* The protocol behind a pipe, one command a line:
 *   S hex    octets from the line; answers the octets sent back in hex
 *   B        restart; answers "ok"
 *   E        answers the first EEPROM_SIZE bytes of storage in hex
 *   W hex    sets storage from its beginning; answers "ok"
 *   P        answers the pockets turned since the start */
#include <stdio.h>
#include <string.h>

#include "feeder.h"
#include "flags.h"
#include "line.h"
#include "line_stubs.h"
#include "storage_host.h"
#include "table_format.h"

static char text[2 * 65536 + 16];

static void send(const char *hex)
{
	unsigned value;

	stub_output_size = 0;
	for (; sscanf(hex, "%2x", &value) == 1; hex += 2) {
		line_receive((uint8_t)value);
		if (line_ready())
			line_answer();
	}
	for (uint16_t i = 0; i < stub_output_size; i++)
		printf("%02x", stub_output[i]);
	putchar('\n');
}

static void dump(void)
{
	for (int i = 0; i < EEPROM_SIZE; i++)
		printf("%02x", host_storage[i]);
	putchar('\n');
}

static void restart(void)
{
	line_reset();
	memset((void *)&flags, 0, sizeof flags);
	feeder_start();
	feeder_decide();
	puts("ok");
}

static void write_all(const char *hex)
{
	unsigned value;

	memset(host_storage, 0xFF, sizeof host_storage);
	for (int i = 0; i < EEPROM_SIZE && sscanf(hex, "%2x", &value) == 1; i++, hex += 2)
		host_storage[i] = (uint8_t)value;
	puts("ok");
}

int main(void)
{
	memset(host_storage, 0xFF, sizeof host_storage);
	while (fgets(text, sizeof text, stdin)) {
		switch (text[0]) {
		case 'S':
			send(text + 2);
			break;
		case 'B':
			restart();
			break;
		case 'E':
			dump();
			break;
		case 'W':
			write_all(text + 2);
			break;
		case 'P':
			printf("%lu\n", (unsigned long)stub_pockets);
			break;
		default:
			return 2;
		}
		fflush(stdout);
	}
	return 0;
}
