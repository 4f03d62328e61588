/* What the protocol and the feeder's decisions stand on, for the host: a clock that counts, a wheel that counts pockets, a
 * history memory, a full supply. */
#include "line_stubs.h"

#include <string.h>

#include "buttons.h"
#include "clock.h"
#include "flags.h"
#include "history.h"
#include "journal.h"
#include "line.h"
#include "power.h"
#include "service.h"
#include "wheel.h"

volatile flags_t flags;
uint16_t power_ticks;
uint16_t wheel_loaded_mv;
uint8_t power_reset_flags = 1;
instant_t clock_now;
uint16_t clock_day;
uint32_t stub_time = 850000000; /* late in 2026 */
uint32_t stub_pockets;
uint8_t stub_output[STUB_OUTPUT];
uint16_t stub_output_size;

static uint8_t memory[4096];

bool memory_read(uint16_t at, uint8_t *to, uint8_t n)
{
	memcpy(to, memory + at % sizeof memory, n);
	return true;
}

void memory_write(uint16_t at, uint8_t *from, uint8_t n)
{
	memcpy(memory + at % sizeof memory, from, n);
}

uint8_t clock_read(void)
{
	clock_now = (instant_t){stub_time, (int32_t)(stub_time / 60)};
	clock_day = (uint16_t)(stub_time / 86400);
	stub_time++; /* the line's wait for the next second ends */
	return CLOCK_GOOD;
}

bool clock_set(uint32_t seconds)
{
	stub_time = seconds;
	clock_now = (instant_t){seconds, (int32_t)(seconds / 60)};
	return true;
}

bool clock_arm(const int32_t *minute)
{
	(void)minute;
	return true;
}

void clock_release(void) {}

bool clock_ageing_read(int8_t *value)
{
	*value = 0;
	return true;
}

bool clock_ageing_write(int8_t value)
{
	return value == 0;
}

wheel_result_t wheel_turn(uint8_t pockets, uint16_t turn_ms, int16_t trim_us, uint8_t first)
{
	(void)turn_ms;
	(void)trim_us;
	(void)first;
	for (uint8_t i = 1; i <= pockets; i++)
		journal_step(i);
	stub_pockets += pockets;
	return (wheel_result_t){pockets, WHEEL_DONE, 0};
}

uint16_t power_supply(void) { return 5000; }
bool power_low(void) { return false; }
void uart_heard(bool good) { (void)good; }
void power_tick(void) {}
void power_flash(uint8_t count) { (void)count; }
bool power_show(uint8_t code) { (void)code; return true; }
bool power_was_lost(void) { return true; }

void uart_send(uint8_t octet)
{
	if (stub_output_size < STUB_OUTPUT)
		stub_output[stub_output_size++] = octet;
}

bool buttons_held(uint8_t which)
{
	(void)which;
	return false;
}

void power_wait_ms(uint16_t ms) { (void)ms; }

uint8_t service_token;
service_wires_t service_wires;

uint8_t service(uint8_t token, uint8_t action, uint8_t count, int16_t trim)
{
	(void)token;
	(void)action;
	(void)count;
	(void)trim;
	return 1; /* BAD_REQUEST: there are no wires here */
}
