/* What is wrong. Faults that follow their cause stand in feeder.faults; those that stay until somebody acknowledges them stand in the
 * journal and outlast resets. */
#ifndef FAULTS_H
#define FAULTS_H

#include <stdbool.h>
#include <stdint.h>

/* All that are to be shown, FAULT_... bits. */
uint16_t faults_shown(void);
/* The light's code for the first of them: 1 to 7 short flashes, or 8 and the number of short ones after a long one; 0: none. */
uint8_t faults_light(void);
/* The light has shown them, to the last flash. */
void faults_were_shown(void);
/* Raises faults of the kind that stay, and notes those that are new. The journal's record is left to the caller: true if it has changed. */
bool faults_raise(uint16_t faults);
/* Somebody has seen them: what stays of them in the journal goes, and the wheel need not rest any more. */
void faults_acknowledge(uint16_t faults);
/* Somebody has pressed a button, and seen what the light has shown. A finger, or a stuck button, that was there first has seen
 * nothing: a fault that the light has not yet shown stays. */
void faults_acknowledge_shown(void);

#endif
