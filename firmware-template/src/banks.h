/* The two banks for tables. One is in force, or none is. */
#ifndef BANKS_H
#define BANKS_H

#include <stdbool.h>
#include <stdint.h>

/* Chooses the newer of the committed banks and opens it; raises TABLE_DAMAGED if the bytes of one have changed. */
void banks_choose(void);
/* Writes both commit bytes again as they read: one that a power cut has left half programmed may read differently next time. */
void banks_rewrite_commits(void);
/* Opens the table in force again: after the spare bank's was open, and before it is asked for a serving. One whose bytes have changed by
 * themselves gives way to that of the other bank. */
void banks_reopen(void);
/* Writes the commit byte of the spare bank, BANK_COMMITTED or BANK_VOID. */
void banks_mark_spare(uint8_t commit);

#endif
