/* The handlers that need no C, as short as the naps want them. Those that change no flag of SREG save nothing. */
#include <avr/io.h>

	.text

/* PCINT0 and PCINT1, sensors on the ports B and C, and TIMER1_COMPA wake only. 4 cycles. */
	.global __vector_3, __vector_4, __vector_11
__vector_3:
__vector_4:
__vector_11:
	reti

/* PCINT2: clock, buttons, sensors on port D and, in power-down, the line; bit 0 of GPIOR0 (flags.h: woken) tells the sleeper. 6 cycles. */
	.global __vector_5
__vector_5:
	sbi _SFR_IO_ADDR(GPIOR0), 0
	reti

/* WDT counts its periods in GPIOR2 until somebody sees them, and asks for the next interrupt: the hardware clears WDIE as the vector
 * runs, and the chip would be reset one period later. The second period that nobody has seen means that the program hangs. 24
 * cycles. */
	.global __vector_6
__vector_6:
	push r24
	in r24, _SFR_IO_ADDR(SREG)
	push r24
	in r24, _SFR_IO_ADDR(GPIOR2)
	inc r24
	out _SFR_IO_ADDR(GPIOR2), r24
	cpi r24, 2
	brsh hangs
	lds r24, _SFR_MEM_ADDR(WDTCSR)
	ori r24, 1 << WDIE
	sts _SFR_MEM_ADDR(WDTCSR), r24
	pop r24
	out _SFR_IO_ADDR(SREG), r24
	pop r24
	reti
hangs:
	jmp power_restart

/* TIMER1_OVF tells the sleeper (flags.h: period_over) that a period of the pulse is over; the line wakes it too. 6 cycles. */
	.global __vector_13
__vector_13:
	sbi _SFR_IO_ADDR(GPIOR0), 1
	reti
