/* The handlers that need no C. No instruction here changes SREG, so nothing is saved: they are as short as the naps want them. */
#include <avr/io.h>

	.text

/* INT0, the clock. Level interrupts repeat until the line rises, so this one masks itself; bit 0 of GPIOR0 (flags.h: woken) tells the
 * sleeper. 8 cycles. */
	.global __vector_1
__vector_1:
	cbi _SFR_IO_ADDR(EIMSK), INT0
	sbi _SFR_IO_ADDR(GPIOR0), 0
	reti

/* PCINT1, the light barrier, wakes only. 4 cycles. */
	.global __vector_4
__vector_4:
	reti

/* PCINT2: buttons and, in power-down, the line. 6 cycles. */
	.global __vector_5
__vector_5:
	sbi _SFR_IO_ADDR(GPIOR0), 0
	reti

/* WDT wakes only: the hardware clears WDIE as the vector runs, and that is the message. 4 cycles. */
	.global __vector_6
__vector_6:
	reti

/* TIMER1_OVF tells the sleeper (flags.h: period_over) that a period of the pulse is over; the line wakes it too. 6 cycles. */
	.global __vector_13
__vector_13:
	sbi _SFR_IO_ADDR(GPIOR0), 1
	reti
