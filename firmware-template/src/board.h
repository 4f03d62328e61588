/* Chooses the board. The build names its header; a sketch is built for the board below that fits the chip and its clock. The headers in
 * ../boards are generated from the descriptions in compiler/profile/boards: a builder's own board is such a description. */
#ifndef BOARD_H
#define BOARD_H

#include "chip.h"

/* A sketch for another board names its header here, as "../boards/mine.h". */
#if !defined(BOARD_HEADER)
#if defined(__AVR_ATmega168__) || defined(__AVR_ATmega168P__)
#define BOARD_HEADER "../boards/m168-mains.h"
#elif defined(__AVR__) && F_CPU == 8000000UL
#define BOARD_HEADER "../boards/m328-cells.h"
#else
#define BOARD_HEADER "../boards/m328-mains.h" /* the host build of the pure modules, too */
#endif
#endif
#include BOARD_HEADER

#include "table_format.h"

#if defined(__AVR__) && F_CPU != BOARD_CLOCK
#error "the build's F_CPU is not the board's clock"
#endif
#if SERVO_PULSE_BIT != 1 || SDA_BIT != 4 || SCL_BIT != 5 || RXD_BIT != 0 || TXD_BIT != 1
#error "the chip has OC1A on PB1, SDA and SCL on PC4 and PC5, RXD and TXD on PD0 and PD1, and nowhere else"
#endif
#if BOARD_CLOCK / TWI_HZ < 16 + 2
#error "TWI_HZ is too fast for the clock"
#endif
#if BOARD_CLOCK % 8000000
#error "BOARD_CLOCK is 8 or 16 MHz: the servo's pulses are counted in half or whole microseconds"
#endif
#if TURN_PULSE_US < -500 || TURN_PULSE_US > 500 || TURN_PULSE_US == 0
#error "TURN_PULSE_US is the distance from the stop pulse: 1 to 500 either way"
#endif

/* Drives a pin of the board high or low; level is a constant. */
#define TO_LEVEL(role, level) \
	do { \
		if (level) \
			role##_PORT |= 1 << role##_BIT; \
		else \
			role##_PORT &= (uint8_t)~(1 << role##_BIT); \
	} while (0)

/* Whether a pin is at a level, a constant. */
#define AT_LEVEL(role, level) ((bool)(role##_PIN & 1 << role##_BIT) == (bool)(level))

#endif
