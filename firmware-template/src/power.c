#include "power.h"

#include "board.h" /* first: it says F_CPU */
#include "flags.h"
#include "line.h"
#include "outlined.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/delay.h>

#define LED PB5
#define OTHER_PINS (1 << PD2 | 1 << PD3 | 1 << PD4 | 1 << PD5) /* clock and buttons: what may wake us beside the line */
#define REFERENCE_MV 1100UL
#define ADC_FULL 1024UL

uint16_t power_ticks;
uint8_t power_reset_flags __attribute__((section(".noinit")));

#define WATCHDOG(periods) (1 << WDE | 1 << WDIE | (periods)) /* interrupt first; if nobody counts it, reset one period later */
#define TICK WATCHDOG(1 << WDP3 | 1 << WDP0) /* 1,048,576 cycles of 128 kHz: 8 s */
#define LIGHT WATCHDOG(1 << WDP0)            /* a 256th of that: 32 ms */
#define PAUSE WATCHDOG(1 << WDP2)            /* 2,048ths times 64, a 32nd: 256 ms */

/* Starts a period of the watchdog. The second write must follow the first within four cycles (data sheet 11.9.2); interrupts
 * are off, or the whole is repeated by the next period. */
OUTLINED static void watchdog(uint8_t mode)
{
	wdt_reset();
	__asm__ volatile("sts %0, %1\n\tsts %0, %2" ::"n"(_SFR_MEM_ADDR(WDTCSR)), "r"((uint8_t)(1 << WDCE | 1 << WDE)), "r"(mode));
}

/* After a watchdog reset the watchdog runs on with its shortest period, 16 ms, and WDRF holds it on (data sheet 11.9.2),
 * so this comes before the variables are cleared. A bootloader leaves it running too. */
void power_early(void) __attribute__((naked, used, section(".init3")));
void power_early(void)
{
	power_reset_flags = MCUSR;
	MCUSR = 0;
	GPIOR0 = 0; /* the flags: a bootloader that jumps here may have used it */
	watchdog(TICK);
}

bool power_was_lost(void)
{
	return power_reset_flags == 0 || (power_reset_flags & (1 << PORF | 1 << BORF));
}

void power_init(void)
{
	DDRB |= 1 << LED;
	ACSR = 1 << ACD;   /* comparator off */
	EICRA = 0;         /* INT0 on low level: the only kind that wakes from power-down */
	PCICR = 1 << PCIE2;
}

void power_tick(void)
{
	if (WDTCSR & 1 << WDIE)
		return;
	power_ticks++;
	WDTCSR |= 1 << WDIE;
}

void power_sleep_mode(bool idle)
{
	SMCR = 1 << SE | (idle ? 0 : 1 << SM1);
}

/* From wake to sleep a tick takes about 35 cycles: 4 to wake, 4 to the vector, 3 for its jump, 4 back, the rest here. */
static void nap(uint8_t ticks)
{
	uint8_t left = ticks;

	for (;;) {
		cli();
		if (flags.woken)
			break;
		sei(); /* the instruction after it always runs, so no wake-up is lost */
		sleep_cpu();
		if (WDTCSR & 1 << WDIE)
			break;
		WDTCSR |= 1 << WDIE;
		if (--left == 0)
			break;
	}
	sei();
	power_ticks += (uint8_t)(ticks - left);
}

void power_look(void)
{
	flags.woken = false;
}

bool power_sleep(bool idle, uint8_t ticks)
{
	uint8_t before;

	PCMSK2 = 1 << PCINT19 | 1 << PCINT20 | 1 << PCINT21 | (idle ? 0 : 1 << PCINT16);
	before = PIND & OTHER_PINS;
	EIMSK = before & 1 << PD2 ? 1 << INT0 : 0; /* one that is low already would wake us for ever */
	power_sleep_mode(idle);
	nap(ticks);
	EIMSK = 0;
	/* The pins tell who it was: a pin change does not. */
	before ^= PIND & OTHER_PINS;
	return before ? false : flags.woken;
}

void power_wait_ms(uint16_t ms)
{
	for (; ms > 0; ms--) {
		_delay_ms(1);
		power_tick();
	}
}

/* ---- the supply ---- */

/* The reference is measured against the supply, so a higher count is a lower supply. */
#define COUNT_OF(mv) ((uint16_t)(REFERENCE_MV * ADC_FULL / (mv)))
#define SAGGED(count) ((uint16_t)((uint32_t)(count) * 100 / (100 - SAG_MOST)))

static uint16_t highest_supply = ADC_FULL - 1; /* count of the highest supply at rest since the reset */
static uint16_t at_rest;                       /* count of the last reading at rest */
static uint16_t limit, lowest;                 /* counts: that of the watch, and the lowest supply in it */

static uint16_t converted(void)
{
	while (ADCSRA & 1 << ADSC)
		;
	return ADC;
}

static void convert(void)
{
	ADCSRA |= 1 << ADSC;
}

static uint16_t millivolts(uint16_t count)
{
	return (uint16_t)(REFERENCE_MV * ADC_FULL / (count | 1)); /* never zero */
}

/* Measures at rest; the converter stays on. */
static void measure(void)
{
	ADMUX = 1 << REFS0 | 0xE;
	ADCSRA = 1 << ADEN | 1 << ADPS2 | 1 << ADPS1 | (F_CPU > 8000000UL ? 1 << ADPS0 : 0);
	_delay_ms(2); /* the reference settles */
	convert();    /* the first conversion after the switch is not to be trusted */
	converted();
	convert();
	at_rest = converted();
	if (at_rest < highest_supply)
		highest_supply = at_rest;
}

/* A supply that is steady by nature is compared with the best that it was: so the error of this chip's reference drops out. */
static uint16_t highest_allowed(void)
{
	uint16_t sagged = SAGGED(SUPPLY_STEADY ? highest_supply : at_rest);

	return sagged < COUNT_OF(SUPPLY_MIN_MV) ? sagged : COUNT_OF(SUPPLY_MIN_MV);
}

uint16_t power_supply(void)
{
	measure();
	ADCSRA = 0;
	return millivolts(at_rest);
}

bool power_low(void)
{
	return at_rest > highest_allowed();
}

/* A servo that stands draws a twentieth of what it draws when it turns: a lead or a supply on which that is seen will break down. */
void power_watch(void)
{
	measure();
	lowest = at_rest;
	limit = at_rest + at_rest / 64;
	convert();
}

void power_watch_load(void)
{
	limit = highest_allowed();
}

bool power_sagging(void)
{
	uint16_t count = converted();

	if (count > lowest)
		lowest = count;
	convert();
	return count > limit;
}

uint16_t power_watched(void)
{
	converted();
	ADCSRA = 0;
	return millivolts(lowest);
}

/* Sleeps for a short period of the watchdog, to its end. */
static void doze(uint8_t period)
{
	cli();
	watchdog(period);
	while (WDTCSR & 1 << WDIE) {
		sei(); /* the instruction after it always runs, so no wake-up is lost */
		sleep_cpu();
		cli();
	}
	watchdog(TICK);
	sei();
}

/* Asleep, because a light that takes seconds would cost more than all the rest of a day on cells. */
void power_flash(uint8_t count)
{
	static uint8_t part; /* of a tick, in 256ths: what the flashes took */

	power_sleep_mode(uart_busy());
	for (; count > 0; count--) {
		power_tick();
		PORTB |= 1 << LED;
		doze(LIGHT);
		PORTB &= (uint8_t)~(1 << LED);
		doze(PAUSE);
		part += 1 + 8;
		if (part < 1 + 8)
			power_ticks++;
	}
}
