#include "banks.h"

#include "board.h"
#include "faults.h"
#include "feeder.h"
#include "flags.h"
#include "history.h"
#include "journal.h"
#include "outlined.h"
#include "power.h"
#include "servings.h"
#include "storage.h"
#include "table.h"

#include <string.h>

OUTLINED uint8_t feeder_spare(void)
{
	return feeder.bank == 0 ? 1 : 0;
}

OUTLINED uint16_t feeder_table_at(uint8_t bank)
{
	return bank * (uint16_t)BANK_SIZE + 1;
}

static uint8_t commit_byte(uint8_t bank)
{
	return storage_read(feeder_table_at(bank) - 1);
}

uint8_t feeder_open(uint8_t bank)
{
	uint8_t fault = table_open(feeder_table_at(bank), BANK_SIZE - 1);

	if (fault == TABLE_GOOD && table.board != BOARD_CODE)
		fault = TABLE_BAD_BOARD;
	return fault;
}

static bool committed(uint8_t bank)
{
	uint8_t fault;

	if (commit_byte(bank) != BANK_COMMITTED)
		return false;
	fault = feeder_open(bank);
	/* It was whole when it was committed. */
	if (fault != TABLE_GOOD && fault != TABLE_BAD_BOARD)
		faults_raise(FAULT_TABLE_DAMAGED);
	return fault == TABLE_GOOD;
}

void banks_choose(void)
{
	bool first = committed(0);
	uint8_t sequence = table.sequence;

	feeder.faults &= (uint16_t)~FAULT_NO_TABLE;
	feeder.bank = NO_BANK;
	if (committed(1)) {
		/* compared by difference, so that the numbers may wrap */
		feeder.bank = first && (int8_t)(table.sequence - sequence) <= 0 ? 0 : 1;
	} else if (first) {
		feeder.bank = 0;
	}
	if (feeder.bank == 0 && feeder_open(0) != TABLE_GOOD)
		feeder.bank = NO_BANK;
	if (feeder.bank == NO_BANK) {
		feeder.faults |= FAULT_NO_TABLE;
		memset(&table, 0, sizeof table);
	}
	if (journal.preset >= table.presets)
		journal.preset = 0;
}

void banks_reopen(void)
{
	if (feeder.bank == NO_BANK) {
		memset(&table, 0, sizeof table);
	} else if (feeder_open(feeder.bank) != TABLE_GOOD) {
		banks_choose();
		flags.armed = false; /* the other table may have something else due */
	}
}

void banks_mark_spare(uint8_t commit)
{
	journal_unseal();
	storage_write(feeder_table_at(feeder_spare()) - 1, commit);
	journal_seal();
}

void banks_rewrite_commits(void)
{
	/* Never erased, not even for a moment: it may be the only valid table. */
	if (feeder.bank != NO_BANK)
		storage_refresh(feeder_table_at(feeder.bank) - 1, BANK_COMMITTED);
	if (commit_byte(feeder_spare()) != BANK_COMMITTED)
		storage_write(feeder_table_at(feeder_spare()) - 1, BANK_VOID);
}

void feeder_commit(void)
{
	servings_skip_to_now();
	banks_mark_spare(BANK_COMMITTED);
	feeder.faults &= (uint16_t)~FAULT_TABLE_OVER;
	banks_choose();
	history_add(&feeder.now.minute, EVENT_TABLE, table.sequence);
}
