/* The wheel: a continuous-rotation servo, and the sensors that watch it. In: pockets. Out: pockets turned and what was wrong.
 * Registers: Timer1 (pulses on PB1), PD7 (supply of the servo or enable of the boost converter), PD6 (index switch). */
#ifndef WHEEL_H
#define WHEEL_H

#include <stdbool.h>
#include <stdint.h>

/* How an attempt to turn ended. */
enum {
	WHEEL_DONE,   /* all pockets turned (and fell, where a barrier sees them) */
	WHEEL_STUCK,  /* the index switch says that the wheel does not turn */
	WHEEL_SUPPLY, /* the supply sagged below SUPPLY_MIN_MV under the servo */
	WHEEL_EMPTY   /* the wheel turned, nothing fell */
};

typedef struct {
	uint8_t turned;  /* pockets that turned, or fell where a barrier sees them */
	uint8_t verdict; /* WHEEL_... */
	uint16_t faults; /* FAULT_... bits to raise, whatever the verdict */
} wheel_result_t;

/* One attempt: the servo's supply goes on, so many pockets turn (at most POCKETS_PER_SLOT), it goes off. Each pocket is recorded in
 * the journal as it starts, the end is not. The turn time is that of a pocket in ms, 0 for the board's; trim is added to the stop
 * pulse, in us. `unsure`: the first pocket was cut short before; with an index switch that is closed at the start it counts as turned. */
wheel_result_t wheel_turn(uint8_t pockets, uint16_t turn_ms, int16_t trim_us, bool unsure);

#endif
