/* Stops a build for a chip that the firmware is not written for, a sketch's before anything else is compiled. The host build of the pure
 * modules is none. */
#ifndef CHIP_H
#define CHIP_H

#if defined(__AVR_ATmega328PB__)
#error "an ATmega328PB runs what is built for an ATmega328P, under other names of registers: use mealtab install --board m328-mains"
#elif (defined(__AVR__) || defined(FOR_A_CHIP)) && !defined(__AVR_ATmega328P__) && !defined(__AVR_ATmega328__) && \
	!defined(__AVR_ATmega168P__) && !defined(__AVR_ATmega168__)
#error "this firmware is for ATmega328P, ATmega328, ATmega328PB, ATmega168P and ATmega168, not for the chip of the board that is chosen"
#endif

#endif
