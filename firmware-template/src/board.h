/* Chooses the board. The build names it; a sketch is built for the board below that fits the chip and its clock. A
 * builder changes the header in ../boards, nothing else. */
#ifndef BOARD_H
#define BOARD_H

#ifndef __AVR__
#include "board_host.h" /* the host build of the pure modules */
#elif defined(BOARD_M328_MAINS)
#include "../boards/m328-mains.h"
#elif defined(BOARD_M328_CELLS)
#include "../boards/m328-cells.h"
#elif defined(BOARD_M168_MAINS)
#include "../boards/m168-mains.h"
#elif defined(__AVR_ATmega168__) || defined(__AVR_ATmega168P__)
#include "../boards/m168-mains.h"
#elif F_CPU == 8000000UL
#include "../boards/m328-cells.h"
#else
#include "../boards/m328-mains.h"
#endif

#include "table_format.h"

/* What a small chip has no room for. */
#ifndef KEEP_HISTORY
#define KEEP_HISTORY 1  /* 0: the journal's last records are all that is remembered */
#endif
#ifndef TRIM_CLOCK
#define TRIM_CLOCK 1    /* 0: the clock chip's ageing offset stays as it is */
#endif
#ifndef COUNT_HOPPER
#define COUNT_HOPPER 1  /* 0: no forecast of an empty hopper */
#endif

#if defined(__AVR__) && F_CPU != BOARD_CLOCK
#error "the build's F_CPU is not the board's clock"
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

#endif
