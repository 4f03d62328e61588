/* Code generated from the board's TOML description; DO NOT EDIT. compiler/profile says what the keys mean. */

/* m328-index: ATmega328P, 16 MHz, 5 V wall supply, index switch. */
#ifndef BOARD_HEADER_H
#define BOARD_HEADER_H

#define BOARD_MCU            atmega328p /* for the compiler's -mmcu */
#define BOARD_CODE           1       /* what a table says it was made for */
#define BOARD_CLOCK          16000000UL /* Hz; crystal */
#ifndef F_CPU
#define F_CPU BOARD_CLOCK
#endif
#define CPU_MEASURED         0       /* 1: the oscillator is timed against the clock chip's seconds before the wheel turns */

/* Serial line and clock module */
#define LINE_BAUD            57600L
#define LINE_MEASURED        0       /* 1: the bit time is measured from the host's preamble */
#define TWI_HZ               400000L

/* Servo and supply */
#define STOP_PULSE_US        1500    /* the table's trim is added */
#define TURN_PULSE_US        200     /* added for turning forwards */
#define TURN_MS              310     /* one pocket, if the table does not say */
#define BRAKE_MS             100     /* stop pulses before the supply goes off */
#define BOOST_MS             20      /* from supply on to pulses */
#define SUPPLY_MIN_MV        4400    /* the wheel is not turned below */
#define SUPPLY_STEADY        1       /* 1: a regulated supply, to be compared with the best that it was since the reset */
#define SAG_MOST             10      /* per cent below that (0: below the reading at rest) at which the wheel stops */

/* What there is */
#define INDEX_SWITCH         1
#define LIGHT_BARRIER        0
#define KEEP_HISTORY         1       /* history in the memory beside the clock chip */
#define TRIM_CLOCK           1       /* the line can set the clock chip's ageing offset */
#define COUNT_HOPPER         1       /* pockets are counted out of the hopper, to say when it is nearly empty */
#define SERVICE              1       /* the line can try wires, light and wheel on the bench */

/* Pins. _PCMSK and _PCIE are those of the port's pin-change interrupt; _HIGH is 1 if the level is high while it is supplied, lit,
 * closed or broken. */
#define SERVO_PULSE_BIT      1       /* PB1 OC1A */
#define SERVO_PULSE_PORT     PORTB
#define SERVO_PULSE_DDR      DDRB
#define SERVO_PULSE_PIN      PINB
#define SERVO_SUPPLY_BIT     7       /* PD7 */
#define SERVO_SUPPLY_PORT    PORTD
#define SERVO_SUPPLY_DDR     DDRD
#define SERVO_SUPPLY_PIN     PIND
#define SERVO_SUPPLY_HIGH    1
#define LED_BIT              5       /* PB5 */
#define LED_PORT             PORTB
#define LED_DDR              DDRB
#define LED_PIN              PINB
#define LED_HIGH             1
#define FEED_BIT             3       /* PD3 */
#define FEED_PORT            PORTD
#define FEED_DDR             DDRD
#define FEED_PIN             PIND
#define PORTION_BIT          4       /* PD4 */
#define PORTION_PORT         PORTD
#define PORTION_DDR          DDRD
#define PORTION_PIN          PIND
#define PLAN_BIT             5       /* PD5 */
#define PLAN_PORT            PORTD
#define PLAN_DDR             DDRD
#define PLAN_PIN             PIND
#define CLOCK_INT_BIT        2       /* PD2 */
#define CLOCK_INT_PORT       PORTD
#define CLOCK_INT_DDR        DDRD
#define CLOCK_INT_PIN        PIND
#define INDEX_BIT            6       /* PD6 */
#define INDEX_PORT           PORTD
#define INDEX_DDR            DDRD
#define INDEX_PIN            PIND
#define INDEX_HIGH           0
#define INDEX_PCMSK          PCMSK2
#define INDEX_PCIE           2
#define BARRIER_BIT          0       /* PC0 */
#define BARRIER_PORT         PORTC
#define BARRIER_DDR          DDRC
#define BARRIER_PIN          PINC
#define BARRIER_HIGH         1
#define BARRIER_PCMSK        PCMSK1
#define BARRIER_PCIE         1
#define SDA_BIT              4       /* PC4 SDA */
#define SCL_BIT              5       /* PC5 SCL */
#define RXD_BIT              0       /* PD0 RXD */
#define TXD_BIT              1       /* PD1 TXD */
#define PORTB_FREE           0x1D    /* bits of port B that nothing is connected to */

#endif
