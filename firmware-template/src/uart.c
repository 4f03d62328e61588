/* The UART half of the line. Registers: USART0, and the RXD pin PD0 for measuring. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "board.h"
#include "line.h"

#define AWAKE_TICKS 2 /* after the last good frame: 8 to 16 seconds */

static uint8_t awake; /* ticks left */

/* Nearest divisor at double speed: the error stays below 2 % at 57,600 baud and 16 MHz. */
#define DIVISOR ((F_CPU + LINE_BAUD * 4) / (LINE_BAUD * 8) - 1)
#if DIVISOR > 255
#error "LINE_BAUD is too slow: the divisor's high byte is left as the reset leaves it"
#endif

static void stay_awake(void)
{
	awake = AWAKE_TICKS;
}

/* About 110 cycles at most with line_receive. */
ISR(USART_RX_vect)
{
	line_receive(UDR0);
}

static void uart_on(uint8_t divisor)
{
	UBRR0L = divisor;
	UCSR0A = 1 << U2X0;
	UCSR0B = 1 << RXCIE0 | 1 << RXEN0 | 1 << TXEN0;
	stay_awake();
}

void uart_init(void)
{
	PORTD |= 1 << RXD_BIT; /* an open line is idle, not a break */
#if !LINE_MEASURED
	uart_on(DIVISOR);
#endif
}

void uart_heard(bool good)
{
	if (good)
		stay_awake();
#if LINE_MEASURED
	else
		awake = 0; /* the rate may be wrong: sleep, and measure the next preamble */
#endif
}

void uart_send(uint8_t octet)
{
	while (!(UCSR0A & 1 << UDRE0))
		;
	UDR0 = octet;
}

bool uart_busy(void)
{
	return awake;
}

void uart_ticked(void)
{
	if (awake)
		awake--;
}

#if LINE_MEASURED
#define PAIRS 16
#define BIT_CYCLES (F_CPU / LINE_BAUD)
#define OVERDUE (TIFR1 & 1 << TOV1) /* the timer has run out */

/* Waits for the line to fall, or for the timer to run out, and returns the timer. */
static uint16_t fall(void)
{
	while (!(PIND & 1 << RXD_BIT) && !OVERDUE)
		;
	while (PIND & 1 << RXD_BIT && !OVERDUE)
		;
	return TCNT1;
}

/* The preamble alternates, so that the line falls every two bits. So many pairs in a row, each right within an eighth, give the bit
 * time to a fifth of a per cent; anything else is not the preamble. After 65,536 cycles, the length of the preamble, the line stays
 * shut, and its next edge wakes us again. */
void uart_wake(void)
{
	uint16_t start, last, before;
	uint8_t pairs = PAIRS;

	UCSR0B = 0;
	line_reset();
	TCNT1 = 0;
	TIFR1 = 1 << TOV1;
	TCCR1B = 1 << CS10;
	start = last = fall();
	do {
		before = last;
		last = fall();
		if ((uint16_t)(last - before - 2 * BIT_CYCLES * 7 / 8) > 2 * BIT_CYCLES * 2 / 8) {
			start = last;
			pairs = PAIRS + 1;
		}
	} while (--pairs > 0 && !OVERDUE);
	TCCR1B = 0;
	if (!OVERDUE)
		/* An eighth of the bit time less one, rounded; the pairs make 256 eighths. */
		uart_on((uint8_t)((last - start - 128) >> 8));
}
#else
void uart_wake(void)
{
	line_reset();
	stay_awake();
}
#endif
