/* The board of the host build: sizes of m328-mains, no chip. */
#ifndef BOARD_HOST_H
#define BOARD_HOST_H

#define BOARD_CODE BOARD_CODE_M328_MAINS
#define BOARD_CLOCK 16000000UL
#define TWI_HZ 400000L
#define TURN_PULSE_US 200
#define SUPPLY_MIN_MV 4300
#define INDEX_SWITCH 0
#define LIGHT_BARRIER 0

#endif
