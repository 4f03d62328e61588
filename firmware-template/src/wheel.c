#include "wheel.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>

#include "board.h"
#include "flags.h"
#include "journal.h"
#include "outlined.h"
#include "power.h"

#define SERVO PB1
#define SUPPLY PD7
#define INDEX PD6

#define US(us) ((uint16_t)((us) * (int16_t)(F_CPU / 8000000UL))) /* in counts of the timer, CPU clock / 8 */

#define FRAME_MS 20   /* between pulses; servos take 20 to 50 */
#define JAM_TRIES 3
#define BACK_OUT_MS 150
#define PERIOD_OVER 1 /* bit of flags, set in vectors.S */

static uint16_t stop_pulse; /* counts less one, as OCR1A takes them */
static uint16_t pocket_frames;

/* Waits for the end of a period, asleep: the pulse is made by the timer. */
static void frame(void)
{
	for (;;) {
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

/* So many periods with a pulse, the first being the one after this. */
OUTLINED static void frames(uint16_t pulse, uint16_t count)
{
	OCR1A = pulse; /* taken over at the start of the next period */
	for (; count > 0; count--)
		frame();
}

/* The period is stretched so that a pocket takes a whole number of pulses. */
static void pulses_on(uint16_t turn_ms)
{
	uint16_t count = 0;

	for (; turn_ms >= FRAME_MS; turn_ms -= FRAME_MS)
		count++;
	if (count == 0)
		count = 1;
	pocket_frames = count;
	OCR1A = stop_pulse;      /* taken at once while the mode is 0 */
	TCCR1A = 1 << COM1A1 | 1 << WGM11;
	TCCR1B = 1 << WGM13 | 1 << WGM12; /* mode 14, stopped: only in it can ICR1 be written (data sheet 16.6.1) */
	ICR1 = US(FRAME_MS * 1000u) + US(turn_ms * 1000u) / count - 1;
	TCNT1 = 0;
	TIFR1 = 1 << TOV1;
	flags.period_over = false;
	TCCR1B = 1 << WGM13 | 1 << WGM12 | 1 << CS11; /* clock / 8 */
	TIMSK1 = 1 << TOIE1;
}

static void pulses_off(void)
{
	TIMSK1 = 0;
	TCCR1B = 0;
	TCCR1A = 0;
}

#if INDEX_SWITCH
static uint8_t closed(void)
{
	return !(PIND & 1 << INDEX);
}

/* Turns until the switch closes anew; 0 if that takes more than twice the time of a pocket. */
static uint8_t to_next_index(void)
{
	uint8_t was = closed();

	for (uint16_t n = 2u * pocket_frames; n > 0; n--) {
		uint8_t is;
		frames(stop_pulse + US(TURN_PULSE_US), 1);
		is = closed();
		if (is && !was)
			return 1;
		was = is;
	}
	return 0;
}

static uint8_t turn_pocket(void)
{
	for (uint8_t tries = 0; tries < JAM_TRIES; tries++) {
		if (to_next_index())
			return 1;
		frames(stop_pulse - US(TURN_PULSE_US), BACK_OUT_MS / FRAME_MS);
	}
	return 0;
}
#else
static uint8_t turn_pocket(void)
{
	frames(stop_pulse + US(TURN_PULSE_US), pocket_frames);
	return 1;
}
#endif

wheel_result_t wheel_turn(uint8_t pockets, uint16_t turn_ms, int16_t trim_us, bool unsure)
{
	wheel_result_t result = {0, WHEEL_DONE, 0};

	(void)unsure;
	stop_pulse = US(STOP_PULSE_US + trim_us) - 1;
	DDRB |= 1 << SERVO;
	DDRD |= 1 << SUPPLY;
	PORTD |= 1 << SUPPLY | 1 << INDEX;
	power_wait_ms(BOOST_MS);
	power_sleep_mode(true);
	pulses_on(turn_ms ? turn_ms : TURN_MS);
	while (result.turned < pockets) {
		journal_step(result.turned + 1);
		if (!turn_pocket()) {
			result.verdict = WHEEL_STUCK;
			break;
		}
		result.turned++;
	}
	frames(stop_pulse, BRAKE_MS / FRAME_MS);
	pulses_off();
	PORTD &= (uint8_t)~(1 << SUPPLY | 1 << INDEX);
	PORTB &= (uint8_t)~(1 << SERVO);
	return result;
}
