#include "wheel.h"

#include "board.h" /* first: it says F_CPU */

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <util/delay.h>

#include "cpu_clock.h"
#include "flags.h"
#include "journal.h"
#include "outlined.h"
#include "power.h"
#include "sensors.h"

#define FRAME_MS 20    /* between pulses; servos take 15 to 50 */
#define PUSH_MS 2800   /* at a time, to and fro */
#define PAUSE_FRAMES 15 /* without pulses; also from the wheel to the barrier */
#define BRAKE_FRAMES (BRAKE_MS / FRAME_MS)
#define STAND_FRAMES 5 /* until the wheel stands, and has stood for a whole period */
#define SAGS_MOST 2    /* periods in a row with the supply too low: one is what a servo takes to start */
#define BLIND_MOST 3   /* attempts in a row in which the barrier saw nothing, until that is called its fault too */
#define PERIOD_OVER 1  /* bit of flags, set in vectors.S */

uint16_t wheel_loaded_mv;

/* Of the attempt at hand. Pulses are in counts less one, as OCR1A takes them. */
static struct {
	uint16_t stop, forward, back;
	uint16_t pocket;    /* periods in which a pocket turns */
	uint16_t push_most; /* periods */
	uint16_t pushed;    /* periods since the servo last had none */
	uint8_t sags;       /* periods in a row in which the supply was too low */
	bool sagged;        /* too many of them */
	bool last;          /* pocket: the wheel stops at the switch */
} attempt;

/* Waits for the end of a period, asleep: the pulse is made by the timer, and edges of the sensors wake us. Where the last pocket ends
 * at the switch, the next period's pulse is the stop pulse already. */
static void wait_period(void)
{
	sensors_period();
	for (;;) {
		sensors_look();
#if INDEX_SWITCH
		if (attempt.last && sensors.index_reached)
			OCR1A = attempt.stop;
#endif
		cli();
		if (flags.period_over)
			break;
		sei(); /* the instruction after it always runs, so no period is lost */
		sleep_cpu();
	}
	__asm__ volatile("cbi %0, %1" ::"I"(_SFR_IO_ADDR(GPIOR0)), "I"(PERIOD_OVER)); /* the compiler would take ten bytes */
	sei();
	power_tick();
}

static void watch_supply(void)
{
	attempt.sags = power_sagging() ? attempt.sags + 1 : 0;
	if (attempt.sags >= SAGS_MOST)
		attempt.sagged = true;
}

/* Begins one period with such a pulse: returns as its pulse rises, the period before being over. */
OUTLINED static void pulse(uint16_t width)
{
	OCR1A = width; /* taken over at the start of the next period */
	wait_period();
	watch_supply();
}

static void stand(uint8_t frames)
{
	attempt.pushed += frames; /* a stop pulse that is off makes the servo push */
	for (; frames > 0; frames--)
		pulse(attempt.stop);
}

/* Waits for the end of the pulse that has begun: a servo takes a short one for an order. */
OUTLINED static void pulse_ends(void)
{
	TIFR1 = 1 << OCF1A;
	while (!(TIFR1 & 1 << OCF1A))
		;
}

/* Without pulses a servo rests, however wrong its stop pulse is. */
static void rest(void)
{
	stand(STAND_FRAMES);
	pulse_ends();
	TCCR1A = 1 << WGM11;
	for (uint8_t n = 0; n < PAUSE_FRAMES; n++)
		pulse(attempt.stop);
	pulse_ends();
	TCCR1A = 1 << COM1A1 | 1 << WGM11;
	attempt.pushed = 0;
}

/* Begins one period that turns the wheel. */
OUTLINED static void push(uint16_t width)
{
	if (attempt.pushed >= attempt.push_most)
		rest();
	attempt.pushed++;
	pulse(width);
}

/* Pulses and the wheel's time are in counts of the timer at an eighth of the CPU's clock. The period is stretched or shortened, from
 * 15 to 30 ms, so that a pocket takes a whole number of pulses. */
static void pulses_on(uint16_t turn_ms, int16_t trim_us)
{
	uint16_t centre = STOP_PULSE_US + trim_us;
	uint16_t count;

	if (turn_ms < FRAME_MS) /* has a period to itself */
		turn_ms = FRAME_MS;
	count = (turn_ms + (FRAME_MS - 1) / 2) / FRAME_MS;
	attempt.pocket = count;
	attempt.push_most = (uint16_t)((uint32_t)count * PUSH_MS / turn_ms);
	attempt.stop = cpu_counts(centre) - 1;
	attempt.forward = cpu_counts(centre + TURN_PULSE_US) - 1;
	attempt.back = cpu_counts(centre - TURN_PULSE_US) - 1;
	OCR1A = attempt.stop; /* taken at once while the mode is 0 */
	TCCR1A = 1 << COM1A1 | 1 << WGM11;
	TCCR1B = 1 << WGM13 | 1 << WGM12; /* mode 14, stopped: only in it can ICR1 be written (data sheet 16.6.1) */
	ICR1 = cpu_counts((uint16_t)(turn_ms * 1000UL / count)) - 1;
	TCNT1 = 0;
	TIFR1 = 1 << TOV1;
	flags.period_over = false;
	TCCR1B = 1 << WGM13 | 1 << WGM12 | 1 << CS11; /* clock / 8 */
	TIMSK1 = 1 << TOIE1;
}

static void pulses_off(void)
{
	pulse_ends();
	TIMSK1 = 0;
	TCCR1B = 0;
	TCCR1A = 0;
}

/* The rest of a pocket whose first period has begun, without a look at the switch. */
static void turn_by_time(void)
{
	for (uint16_t n = attempt.pocket - 1; n > 0 && !attempt.sagged; n--)
		push(attempt.forward);
}

#if INDEX_SWITCH
static enum { TRUSTED, DISTRUSTED, FOUND_OUT } distrusted; /* the switch did not change though the wheel was pushed to and fro: before, or in
                                                             this attempt */
static bool slow; /* the wheel took as long back as forth: that was no jam. Kept from one attempt to the next */

/* Periods in which a wheel turns a pocket that cold, load and a tired supply slow to six tenths. */
static uint16_t usual_timeout(void)
{
	return attempt.pocket * 7u / 4 + 1;
}

static uint16_t pocket_timeout(void)
{
	return slow ? usual_timeout() * 2 : usual_timeout();
}

/* Turns forwards until the switch closes anew; false if that takes longer than so many periods. */
static bool to_next_index(uint16_t most)
{
	for (; most > 0 && !attempt.sagged && !sensors.index_reached; most--)
		push(attempt.forward);
	return sensors.index_reached;
}

/* Turns back by half a pocket, and on until the switch changes, for so many periods at most. Returns the periods. */
static uint16_t back_out(uint16_t most)
{
	uint16_t n = 0;

	stand(STAND_FRAMES);
	if (sensors.index_reached) /* as the wheel ran out */
		return n;
	sensors.index_changed = false; /* one that closed or opened no more since the pocket began has failed in it */
	sensors.backwards = true;
	for (; n < most && !attempt.sagged; n++) {
		if (n > attempt.pocket / 2 && sensors.index_changed)
			break;
		push(attempt.back);
	}
	stand(STAND_FRAMES);
	sensors.backwards = false;
	return n;
}

/* The rest of a pocket whose first period has begun; false if the wheel is stuck. */
static bool turn_to_index(void)
{
	uint16_t pushed = pocket_timeout();
	uint16_t back;

	for (uint8_t tries = 2;; tries--) {
		if (to_next_index(pushed))
			return true;
		if (attempt.sagged)
			return false;
		back = back_out(pushed + attempt.pocket / 2); /* the last time only to see whether it was the switch that failed */
		if (attempt.sagged)
			return false;
		if (!sensors.index_changed)
			break;
		if (tries == 1)
			return to_next_index(back);
		slow = back > usual_timeout() / 4 * 3;
		pushed = pocket_timeout();
	}
	/* Neither a jam nor a free wheel would keep the switch from changing on the way back: the wheel stands where the pocket began, and
	 * turns by time. */
	for (; back > pushed; back--)
		push(attempt.forward);
	distrusted = FOUND_OUT;
	push(attempt.forward);
	turn_by_time();
	return true;
}

/* After a cut the wheel stands anywhere. The index is looked for behind it, where nothing falls should the switch have failed; then the
 * wheel comes back, to the index or to where it stood. No pocket has begun meanwhile, so that another cut finds the record as it was.
 * False if the switch has failed. */
static bool find_index(void)
{
	uint16_t back = back_out(usual_timeout() + attempt.pocket / 2);

	while (back-- > 0 && !attempt.sagged && !(sensors.index_changed && sensors.owed == 0))
		push(attempt.forward);
	if (!sensors.index_changed && !attempt.sagged)
		distrusted = FOUND_OUT;
	return !distrusted;
}
#endif

static bool turn_pocket(void)
{
#if INDEX_SWITCH
	if (!distrusted)
		return turn_to_index();
#endif
	turn_by_time();
	return true;
}

#if LIGHT_BARRIER
/* Nothing was seen of some pockets of the attempt before: the hopper is empty, food bridges, or the barrier is blind. One more pocket
 * tells whether there is any use in turning them again; a blind barrier would have the animal fed twice. */
static bool trying_one(void)
{
	return journal.fails > 1 && (journal.faults & FAULT_EMPTY);
}

/* Where nothing falls of the first pocket, the others count as turned. */
static void see_first(uint8_t pockets, wheel_result_t *result)
{
	rest();
	sensors_next_pocket();
	if (sensors.fell == 0)
		result->turned = pockets;
}
#endif

/* Turns and records up to so many pockets, until one does not turn or the supply sags. */
static void turn_pockets(uint8_t pockets, uint8_t first, wheel_result_t *result)
{
#if INDEX_SWITCH
	if (first != POCKET_WHOLE && !distrusted && !find_index() && first == POCKET_CUT) {
		journal_step(1); /* counts as turned, as where there is no switch */
		result->turned = 1;
	}
#endif
	(void)first;
	if (attempt.sagged)
		result->verdict = WHEEL_SUPPLY;
	while (result->verdict == WHEEL_DONE && result->turned < pockets) {
#if INDEX_SWITCH
		sensors.index_reached = false;
		sensors.index_changed = distrusted && sensors.index_changed;
		attempt.last = !distrusted && result->turned + 1 == pockets;
#endif
		push(attempt.forward); /* the last period of the pocket before is over now */
		journal_step(result->turned + 1);
		if (!turn_pocket())
			result->verdict = WHEEL_STUCK;
		if (attempt.sagged)
			result->verdict = WHEEL_SUPPLY;
		if (result->verdict != WHEEL_DONE)
			return;
		result->turned++;
#if LIGHT_BARRIER
		if (result->turned == 1 && trying_one())
			see_first(pockets, result);
#endif
		sensors_next_pocket();
	}
}

#if INDEX_SWITCH
static void judge_switch(wheel_result_t *result)
{
	if (!distrusted)
		return;
	/* Of a switch that works again there is nothing to say, unless it has spoilt this attempt. */
	if (distrusted == FOUND_OUT || !sensors.index_changed)
		result->faults |= FAULT_SWITCH;
	distrusted = sensors.index_changed ? TRUSTED : DISTRUSTED; /* the next attempt goes by it */
}
#endif

#if LIGHT_BARRIER
/* What the barrier saw decides how many pockets fell. One may hide behind another as the kibble scatters, so one less is none. */
static void judge_barrier(wheel_result_t *result, bool was_dark)
{
	static uint8_t blind; /* attempts since it last saw anything */

	if (was_dark || sensors.dark) { /* or it would be lit between the pockets */
		result->faults |= FAULT_BARRIER;
		return;
	}
	if (sensors.fell > 0)
		blind = 0;
#if INDEX_SWITCH
	if (sensors.fell > 0 && distrusted == FOUND_OUT) /* in whose time each fell is not known */
		return;
#endif
	if (result->verdict != WHEEL_DONE || sensors.fell + 1 >= result->turned + (sensors.fell == 0))
		return;
	result->faults |= FAULT_EMPTY;
	if (sensors.fell > 0) {
		result->turned = sensors.fell;
		result->verdict = WHEEL_EMPTY;
	} else if (++blind >= BLIND_MOST) {
		blind = BLIND_MOST;
		result->faults |= FAULT_BARRIER;
	}
}
#endif

static void servo_on(uint16_t turn_ms, int16_t trim_us)
{
	cpu_clock_measure();
	power_watch();
	SERVO_PULSE_DDR |= 1 << SERVO_PULSE_BIT;
	SERVO_SUPPLY_DDR |= 1 << SERVO_SUPPLY_BIT;
	TO_LEVEL(SERVO_SUPPLY, SERVO_SUPPLY_HIGH);
	power_wait_ms(BOOST_MS);
	sensors_on();
	power_sleep_mode(true);
	attempt.sags = 0;
	attempt.pushed = 0;
	attempt.last = false;
	/* Before the first pulse: without one a servo stands, however wrong its stop pulse is. The first reading is one at rest. */
	power_sagging();
	attempt.sagged = power_sagging() && power_sagging();
	power_watch_load();
	power_turning(true);
	pulses_on(turn_ms, trim_us);
}

static void servo_off(void)
{
	attempt.last = false;
#if LIGHT_BARRIER
	rest();
#else
	stand(BRAKE_FRAMES);
#endif
	pulses_off();
	sensors_off();
	TO_LEVEL(SERVO_SUPPLY, !SERVO_SUPPLY_HIGH);
	SERVO_PULSE_PORT &= (uint8_t)~(1 << SERVO_PULSE_BIT);
	power_turning(false);
	wheel_loaded_mv = power_watched();
}

wheel_result_t wheel_turn(uint8_t pockets, uint16_t turn_ms, int16_t trim_us, uint8_t first)
{
	wheel_result_t result = {0, WHEEL_DONE, 0};
	bool was_dark;

	servo_on(turn_ms ? turn_ms : TURN_MS, trim_us);
	was_dark = sensors.dark;
	(void)was_dark;
#if INDEX_SWITCH
	sensors.index_changed = false;
#endif
	turn_pockets(pockets, first, &result);
	servo_off();
	sensors_next_pocket();
#if LIGHT_BARRIER
	judge_barrier(&result, was_dark);
#endif
#if INDEX_SWITCH
	judge_switch(&result);
#endif
	return result;
}

#if SERVICE
#define TWITCHES 25

void wheel_hold(uint8_t seconds, uint16_t turn_ms, int16_t trim_us)
{
	servo_on(turn_ms ? turn_ms : TURN_MS, trim_us);
	for (uint16_t n = seconds * (1000u / FRAME_MS); n > 0 && !attempt.sagged; n--)
		pulse(attempt.stop);
	servo_off();
}

static void push_pocket(uint16_t width)
{
	for (uint16_t n = attempt.pocket; n > 0 && !attempt.sagged; n--)
		push(width);
	stand(STAND_FRAMES);
}

void wheel_to_and_fro(uint16_t turn_ms, int16_t trim_us)
{
	servo_on(turn_ms ? turn_ms : TURN_MS, trim_us);
	sensors.index_changed = false;
	sensors.backwards = true;
	push_pocket(attempt.back);
	sensors.backwards = false;
	push_pocket(attempt.forward);
	servo_off();
}

void wheel_twitch(uint8_t pin)
{
	uint8_t mask = (uint8_t)(1 << pin);

	servo_on(TURN_MS, 0);
	DDRB |= mask;
	for (uint8_t n = 0; n < TWITCHES && !attempt.sagged; n++) {
		pulse(attempt.stop);
		PORTB |= mask;
		_delay_us(STOP_PULSE_US + TURN_PULSE_US);
		PORTB &= (uint8_t)~mask;
	}
	DDRB &= (uint8_t)~mask;
	servo_off();
}
#endif
