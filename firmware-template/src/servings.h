/* Servings: what is due, what becomes of it, and what is done about a serving that could not be finished. The order of writes here
 * carries invariants: at most once, at most one pocket too many. */
#ifndef SERVINGS_H
#define SERVINGS_H

#include <stdbool.h>
#include <stdint.h>

/* Takes up what the newest record says after a reset: how much of its serving is left. */
void servings_restart(void);
/* Settles everything up to now without giving it, after a change of table or preset: a meal that the new one has earlier today is not
 * taken for a missed one. */
void servings_skip_to_now(void);
/* Settles everything up to an instant. */
void servings_settle_to(const int32_t *minute);
/* The preset in force has ended by its date, which waits for what was due before it. */
bool servings_preset_over(void);
/* The same instant lies ahead, but the clock ran ahead of it once and has been set back: it will not come again. */
bool servings_preset_was_over(void);
/* A serving is in the record that is not finished. */
bool serving_pending(void);
/* Puts a serving by hand in the record, to be turned by serving_turn_asked. */
void serving_ask(uint16_t pockets);
/* Turns it, in one attempt: whoever asked for it is there to ask again. */
void serving_turn_asked(void);
/* The supply allows the wheel to turn. */
bool supply_good(void);

#endif
