/* The table engine, a call at a time, from any values in all of its variables of which OPEN holds: what table_open sees to and every call
 * leaves so. That covers any calls in any order. Any bytes are read, good or not, and others each time. */
// eva: -lib-entry -eva-split-return-function table_open:0 -eva-slevel-function table_open:20,open:20
#include "__fc_builtin.h"

#include "cursor.h"
#include "table.h"

/* Minutes: quarter hours in a signed byte, which the chips of 16 KiB do not look at; and a sum of two. */
#define QUARTERS_LEAST (15 * -128)
#define QUARTERS_MOST (15 * 127)

#define OPEN (\
	cursor_end <= 2 * BANK_SIZE && table.rules <= TABLE_MAX_RULES && \
	10 <= table.pocket_tenths && table.pocket_tenths <= 10 * TABLE_MAX_POCKET_UNITS && \
	QUARTERS_LEAST <= table.standard && table.standard <= QUARTERS_MOST && \
	QUARTERS_LEAST <= table.shift && table.shift <= QUARTERS_MOST && \
	2 * QUARTERS_LEAST <= table.span.offset && table.span.offset <= 2 * QUARTERS_MOST && \
	2 * QUARTERS_LEAST <= table.offset_min && table.offset_min <= 0 && \
	0 <= table.offset_max && table.offset_max <= 2 * QUARTERS_MOST)

/* Goes on from nothing but that. */
#define ASSUME_OPEN                                       \
	do {                                              \
		table.dst_south = Frama_C_interval(0, 1); \
		if (!(OPEN))                              \
			return;                           \
	} while (0)

/* Either bank. */
void open(void)
{
	if (table_open(Frama_C_interval(0, 1) ? 1 : BANK_SIZE + 1, BANK_SIZE - 1) != TABLE_GOOD)
		return;
	//@ assert open: OPEN;
	Frama_C_show_each_end();
}

/* From a day before 2000 to 2100-02-28: the clock chip's calendar, and the cursor's. */
void next(void)
{
	ASSUME_OPEN;
	table_next(Frama_C_long_interval(-1440, 52661000), Frama_C_unsigned_int_interval(0, SEARCH_MINUTES), Frama_C_unsigned_char_interval(0, ALL_PRESETS));
	//@ assert open: OPEN;
	Frama_C_show_each_end();
}

/* The same in two pieces, for a preset that ends; chips of 16 KiB do not know that. */
void ending(void)
{
	ASSUME_OPEN;
#if PRESETS_END
	if (Frama_C_interval(0, 1))
		table_presets_end();
	else
		table_next_ending(Frama_C_long_interval(-1440, 52661000), Frama_C_unsigned_int_interval(0, SEARCH_MINUTES),
			Frama_C_unsigned_char_interval(0, ALL_PRESETS), Frama_C_long_interval(-1440, 52661000));
#endif
	//@ assert open: OPEN;
	Frama_C_show_each_end();
}

/* Any carry that the journal may hold. */
void pockets(void)
{
	int32_t carry = Frama_C_long_interval(-2147483647L - 1, 2147483647L);

	ASSUME_OPEN;
	if (Frama_C_interval(0, 1))
		table_pockets(Frama_C_unsigned_char_interval(8, 12), &carry);
	else
		table_pockets_of(Frama_C_unsigned_long_interval(0, 0xFFFFFFFF), 10, &carry);
	//@ assert open: OPEN;
	Frama_C_show_each_end();
}
