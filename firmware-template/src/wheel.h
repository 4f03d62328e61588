/* The wheel: a continuous-rotation servo, and the sensors that watch it. In: pockets. Out: pockets turned and what was wrong.
 * Registers: Timer1 (pulses on PB1, OC1A), and the pin of the servo's supply or of the boost converter's enable. */
#ifndef WHEEL_H
#define WHEEL_H

#include <stdbool.h>
#include <stdint.h>

/* How an attempt to turn ended. */
enum {
	WHEEL_DONE,   /* all pockets turned (and fell, where a barrier sees them) */
	WHEEL_STUCK,  /* the index switch says that the wheel does not turn */
	WHEEL_SUPPLY, /* the supply sagged under the servo: see SUPPLY_MIN_MV and SAG_MOST */
	WHEEL_EMPTY   /* all pockets turned, some fell, the others did not */
};

/* Where the wheel stands when an attempt begins. */
enum {
	POCKET_WHOLE,     /* where a pocket begins, or where a jam has left it */
	POCKET_AFTER_CUT, /* anywhere: the pocket that was cut short counts as turned */
	POCKET_CUT        /* in the attempt's first pocket, which is to be finished to the switch */
};

typedef struct {
	uint8_t turned;  /* pockets that turned; after WHEEL_EMPTY those that fell */
	uint8_t verdict; /* WHEEL_... */
	uint16_t faults; /* FAULT_... bits to raise, whatever the verdict */
} wheel_result_t;

/* One attempt: the servo's supply goes on, so many pockets turn (at most POCKETS_PER_SLOT), it goes off. Each pocket is recorded in
 * the journal as it starts, the end is not. The turn time is that of a pocket in ms, 0 for the board's; trim is added to the stop
 * pulse, in us.
 *
 * A jam is pushed against twice and backed out each time; after every PUSH_MS the servo rests without pulses. A switch that does not change
 * though the wheel is pushed to and fro raises SWITCH, and the wheel turns by time, until the switch is seen to open and close again. A
 * barrier that sees nothing at all cannot be told from an empty hopper: EMPTY is raised, and the pockets count as turned, so that nobody
 * turns them a second time. One that stops seeing has the rest turned again only if something falls of its first pocket. */
wheel_result_t wheel_turn(uint8_t pockets, uint16_t turn_ms, int16_t trim_us, uint8_t first);

/* The lowest supply under the servo in the last attempt, in mV; 0: there was none since the reset. */
extern uint16_t wheel_loaded_mv;

/* For a test on the bench, each with the supply watched as above. The stop pulse for so many seconds. */
void wheel_hold(uint8_t seconds, uint16_t turn_ms, int16_t trim_us);
/* One pocket backwards and forwards again, by time, so that nothing falls; sensors.index_changed says whether the index switch did. */
void wheel_to_and_fro(uint16_t turn_ms, int16_t trim_us);
/* The servo's supply on, and pulses on another pin of port B for half a second. */
void wheel_twitch(uint8_t pin);

#endif
