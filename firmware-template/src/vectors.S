/* The handlers that need no C, each in its place in the vector table where the table is ours: an interrupt then runs without a jump,
 * and what lies behind the last vector that is used is free. A sketch gets its table from its editor's core, which jumps to them.
 * An interrupt that nobody enabled returns. */
#include <avr/io.h>

	.macro handler number
	.global __vector_\number
#ifdef OWN_VECTORS
	.rept (4 * \number - (. - __vectors)) / 2
	reti
	.endr
#endif
__vector_\number:
	.endm

#ifdef OWN_VECTORS
	.section .vectors, "ax", @progbits
	.global __vectors
__vectors:
	rjmp __init
#else
	.text
#endif

/* INT0, the clock. Level interrupts repeat until the line rises, so this one masks itself; bit 0 of GPIOR0 tells the sleeper. No
 * instruction here changes SREG. 8 cycles. */
handler 1
	cbi _SFR_IO_ADDR(EIMSK), INT0
	sbi _SFR_IO_ADDR(GPIOR0), 0
	reti

/* PCINT2: buttons and, in power-down, the line. 6 cycles. */
handler 5
	sbi _SFR_IO_ADDR(GPIOR0), 0
	reti

/* WDT wakes only: the hardware clears WDIE as the vector runs, and that is the message. 4 cycles. */
handler 6
	reti

/* TIMER1_OVF tells the sleeper that a period of the pulse is over; the line wakes it too. 6 cycles. */
handler 13
	sbi _SFR_IO_ADDR(GPIOR0), 1
	reti

#ifdef OWN_VECTORS
/* USART_RX. */
	.rept (4 * 18 - (. - __vectors)) / 2
	reti
	.endr
	jmp __vector_18 /* made an RJMP where that reaches */
/* What the compiler counts on; .init3 and .init4 follow and clear its variables. */
	.section .init2, "ax", @progbits
	.global __init
__init:
	clr r1
	out _SFR_IO_ADDR(SREG), r1
	ldi r28, lo8(RAMEND)
	out _SFR_IO_ADDR(SPL), r28
	ldi r28, hi8(RAMEND)
	out _SFR_IO_ADDR(SPH), r28
	.section .init9, "ax", @progbits
	jmp main
#endif
