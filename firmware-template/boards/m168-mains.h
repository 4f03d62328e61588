/* ATmega168 at 16 MHz on a 5 V wall supply. */
#ifndef BOARD_HEADER_H
#define BOARD_HEADER_H

#define BOARD_CODE BOARD_CODE_M168_MAINS
#define BOARD_CLOCK 16000000UL          /* Hz; crystal or oscillator of the chip */
#ifndef F_CPU
#define F_CPU BOARD_CLOCK
#endif

#define CPU_MEASURED 0                /* 1: the oscillator is timed against the clock chip's seconds before the wheel turns */

/* Serial line */
#define LINE_BAUD 57600L
#define LINE_MEASURED 0              /* 1: the bit time is measured from the host's preamble (internal oscillator) */

/* Clock module */
#define TWI_HZ 400000L
#define HEARTBEAT_HOUR 0             /* UTC, alarm 2: once a day, whatever else happens */
#define HEARTBEAT_MINUTE 0

/* Servo on OC1A (PB1), its supply switched by PD7 */
#define STOP_PULSE_US 1500           /* the table's trim is added */
#ifndef TURN_PULSE_US
#define TURN_PULSE_US 200            /* added for turning forwards; below 0 if the wheel turns the wrong way */
#endif
#define TURN_MS 310                  /* one pocket, if the table does not say */
#define BRAKE_MS 100                 /* stop pulses before the supply goes off */
#define SUPPLY_MIN_MV 4400           /* the wheel is not turned below: the brown-out detector's 4.3 V and a margin */
#define SUPPLY_STEADY 1              /* 1: a regulated supply, to be compared with the best that it was since the reset */
#define SAG_MOST 10                  /* per cent below that (0: below the reading at rest) at which the wheel stops */
#define BOOST_MS 20                  /* from supply on to pulses */

/* No room for them on 16 KiB with a bootloader of 2 */
#define KEEP_HISTORY 0               /* 1: history in the memory beside the clock chip */
#define TRIM_CLOCK 0                 /* 1: the line can set the clock chip's ageing offset */
#define COUNT_HOPPER 0               /* 1: pockets are counted out of the hopper, to say when it is nearly empty */

/* Index switch on PD6, closed to ground once per pocket */
#ifndef INDEX_SWITCH
#define INDEX_SWITCH 0               /* 1 if there is one */
#endif

/* Light barrier at the outlet, on PC0: high while the beam is broken */
#ifndef LIGHT_BARRIER
#define LIGHT_BARRIER 0              /* 1 if there is one */
#endif

#endif
