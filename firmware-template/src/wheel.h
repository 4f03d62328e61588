/* The wheel: a continuous-rotation servo. In: pockets. Out: pockets turned. Registers: Timer1 (pulses on PB1), PD7 (supply
 * of the servo or enable of the boost converter), PD6 (index switch). */
#ifndef WHEEL_H
#define WHEEL_H

#include <stdint.h>

/* Turns so many pockets (at most POCKETS_PER_SLOT) and records each in the journal as it starts, but not the end. The turn
 * time is that of a pocket in ms, 0 for the board's; trim is added to the stop pulse, in us.
 * Returns the pockets turned: fewer if the index switch says that the wheel is stuck. */
uint8_t wheel_turn(uint8_t pockets, uint16_t turn_ms, int16_t trim_us);

#endif
