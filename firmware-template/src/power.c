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

#define WAKING_PINS (1 << CLOCK_INT_BIT | 1 << FEED_BIT | 1 << PORTION_BIT | 1 << PLAN_BIT) /* of port D: what may wake us beside the line */
#define REFERENCE_MV 1100UL
#define ADC_FULL 1024UL

uint16_t power_ticks;
uint8_t power_reset_flags __attribute__((section(".noinit")));

/* ---- the watchdog ---- */

/* Interrupt first. Its handler (vectors.S) counts the period in UNSEEN and asks for the next interrupt; a second period that nobody
 * has seen ends in power_restart. The chip's own reset, one period after an interrupt that was not asked for again, is left for a
 * restart that hangs: there are bootloaders that start with the watchdog running and never leave. */
#define WATCHDOG(periods) (1 << WDIF | 1 << WDE | 1 << WDIE | (periods))
#define TICK WATCHDOG(1 << WDP3 | 1 << WDP0)  /* 1,048,576 cycles of 128 kHz: 8 s */
#define LIGHT WATCHDOG(1 << WDP0)             /* a 256th of that: 32 ms */
#define PAUSE WATCHDOG(1 << WDP2)             /* 8 of them: 256 ms */
#define TURNING WATCHDOG(1 << WDP1)           /* 2 of them: 64 ms */
#define LONG WATCHDOG(1 << WDP2 | 1 << WDP0)  /* 16 of them: 512 ms */
#define LAST_RESORT (1 << WDE | 1 << WDP3 | 1 << WDP0)
#define UNSEEN GPIOR2                         /* periods that nobody has counted in power_ticks */
#define RESTARTED 0x5A                        /* in UNSEEN: by power_restart */

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
	if (power_reset_flags == 0 && UNSEEN == RESTARTED)
		power_reset_flags = 1 << WDRF;
	MCUSR = 0;
	GPIOR0 = 0; /* the flags: a bootloader that jumps here may have used it */
	UNSEEN = 0;
	watchdog(TICK);
}

/* The program hangs: begins it anew with everything that drives a pin or interrupts as a reset leaves it. MCUSR is clear, so UNSEEN
 * says why. */
void power_restart(void) __attribute__((noreturn, used, externally_visible));
void power_restart(void)
{
	watchdog(LAST_RESORT);
	DDRB = DDRC = DDRD = 0; /* the servo's supply first */
	PORTB = PORTC = PORTD = 0;
	TIMSK1 = TCCR1B = TCCR1A = 0;
	UCSR0B = UCSR0A = 0;
	TWCR = 0;
	ADCSRA = 0;
	PCICR = PCMSK1 = PCMSK2 = 0;
#if INDEX_SWITCH && INDEX_PCIE == 0 || LIGHT_BARRIER && BARRIER_PCIE == 0
	PCMSK0 = 0;
#endif
	SMCR = 0;
	UNSEEN = RESTARTED;
	__asm__ volatile("jmp 0");
	__builtin_unreachable();
}

static uint8_t parts; /* of a tick, in 256ths, in the period that the watchdog counts now; 0: all */

/* Adds so many 256ths of a tick. */
static void add_parts(uint8_t more)
{
	static uint8_t part;

	part += more;
	if (part < more)
		power_ticks++;
}

/* Interrupts are off. */
static void count_periods(void)
{
	for (; UNSEEN > 0; UNSEEN--)
		if (parts)
			add_parts(parts);
		else
			power_ticks++;
}

void power_tick(void)
{
	cli();
	count_periods();
	sei();
}

/* Counts in periods of so many parts from here on. Interrupts are off. */
static void count_in(uint8_t mode, uint8_t new_parts)
{
	count_periods();
	parts = new_parts;
	watchdog(mode);
}

void power_turning(bool on)
{
	cli();
	if (on)
		count_in(TURNING, 2);
	else
		count_in(TICK, 0);
	sei();
}

bool power_was_lost(void)
{
	return power_reset_flags == 0 || (power_reset_flags & (1 << PORF | 1 << BORF));
}

/* ---- sleep ---- */

static uint8_t looked; /* the pins at the last power_look */

void power_init(void)
{
#if !LED_HIGH
	TO_LEVEL(LED, 1);
#endif
	LED_DDR |= 1 << LED_BIT;
	ACSR = 1 << ACD; /* comparator off */
	DDRD &= (uint8_t)~WAKING_PINS;
	PORTD |= WAKING_PINS;
	PCMSK2 = WAKING_PINS;
	PCICR = 1 << PCIE2 | INDEX_SWITCH << INDEX_PCIE | LIGHT_BARRIER << BARRIER_PCIE;
}

void power_sleep_mode(bool idle)
{
	SMCR = 1 << SE | (idle ? 0 : 1 << SM1);
}

/* From wake to sleep a tick takes about 60 cycles: 4 to wake, 4 to the vector, 3 for its jump, 24 in the handler, the rest here. */
static void nap(uint8_t ticks)
{
	uint8_t left = ticks;

	for (;;) {
		cli();
		if (flags.woken)
			break;
		if (UNSEEN == 0) {
			sei(); /* the instruction after it always runs, so no wake-up is lost */
			sleep_cpu();
			if (UNSEEN == 0) /* something else */
				break;
		}
		UNSEEN = 0;
		if (--left == 0)
			break;
	}
	sei();
	power_ticks += (uint8_t)(ticks - left);
}

void power_look(void)
{
	flags.woken = false;
	looked = PIND & WAKING_PINS;
}

/* Every change of the pins since power_look has set flags.woken, the fall of the clock's line too: one that is low already, stuck,
 * wakes nobody. */
bool power_sleep(bool idle, uint8_t ticks)
{
	PCMSK2 = WAKING_PINS | (idle ? 0 : 1 << PCINT16);
	power_sleep_mode(idle);
	nap(ticks);
	return flags.woken && (PIND & WAKING_PINS) == looked;
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
/* count * 100 / (100 - SAG_MOST), in sixteen bits */
#define SAGGED(count) ((uint16_t)((count) + (uint16_t)((count) * SAG_MOST) / (100u - SAG_MOST)))

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

OUTLINED static uint16_t millivolts(uint16_t count)
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

/* ---- the light ---- */

/* Sleeps for a short period of the watchdog, to its end, or until something happens if `yielding`. */
static void doze(uint8_t mode, uint8_t its_parts, bool yielding)
{
	cli();
	count_in(mode, its_parts);
	while (UNSEEN == 0 && !(yielding && flags.woken)) {
		sei(); /* the instruction after it always runs, so no wake-up is lost */
		sleep_cpu();
		cli();
	}
	count_in(TICK, 0);
	sei();
}

/* Asleep, because a light that takes seconds would cost more than all the rest of a day on cells. */
static void flash(uint8_t mode, uint8_t its_parts, bool yielding)
{
	TO_LEVEL(LED, LED_HIGH);
	doze(mode, its_parts, yielding);
	TO_LEVEL(LED, !LED_HIGH);
	doze(PAUSE, 8, yielding);
}

void power_flash(uint8_t count)
{
	power_sleep_mode(uart_busy());
	for (; count > 0; count--)
		flash(LIGHT, 1, false);
}

/* Two flashes of 32 ms, 32 ms apart: no fault flashes so fast. */
void power_wink(void)
{
	power_sleep_mode(uart_busy());
	for (uint8_t n = 0; n < 4; n++) {
		TO_LEVEL(LED, n & 1 ? !LED_HIGH : LED_HIGH);
		doze(LIGHT, 1, false);
	}
}

/* Whatever the line brings ends it: a host asks again after a third of a second, and the longest code takes three. */
bool power_show(uint8_t code)
{
	PCMSK2 = WAKING_PINS | 1 << PCINT16;
	power_sleep_mode(uart_busy());
	if ((code & SHOW_LONG) && !flags.woken)
		flash(LONG, 16, true);
	for (code &= SHOW_LONG - 1; code > 0 && !flags.woken; code--)
		flash(LIGHT, 1, true);
	return !flags.woken;
}
