#include "faults.h"

#include "feeder.h"
#include "history.h"
#include "journal.h"
#include "limits.h"

#define SHORT_FLASHES 7 /* faults that are shown without a long flash */

static uint16_t seen; /* those that there were when the light last flashed to the end */

uint16_t faults_shown(void)
{
	uint16_t faults = feeder.faults | journal.faults;

	return limits_refill() ? faults | FAULT_REFILL : faults;
}

uint8_t faults_light(void)
{
	uint16_t faults = faults_shown();
	uint8_t n = 1;

	if (faults == 0)
		return 0;
	for (; !(faults & 1); faults >>= 1)
		n++;
	return n > SHORT_FLASHES ? n + 1 : n; /* 8 | 1 is the first with a long flash */
}

bool faults_raise(uint16_t faults)
{
	faults &= (uint16_t)~journal.faults;
	if (faults == 0)
		return false;
	journal.faults |= faults;
	history_add(&feeder.now.minute, EVENT_FAULT, faults);
	return true;
}

void faults_acknowledge(uint16_t faults)
{
	faults &= journal.faults;
	if (faults == 0)
		return;
	journal.faults &= (uint16_t)~faults;
	journal.fails = 0;
	feeder_record();
	history_add(&feeder.now.minute, EVENT_CLEARED, faults);
}

void faults_were_shown(void)
{
	seen = faults_shown();
}

void faults_acknowledge_shown(void)
{
	faults_acknowledge(seen);
}
