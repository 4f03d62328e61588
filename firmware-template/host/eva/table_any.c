/* Opens a table of any bytes, good or not, in either bank, then searches it and counts pockets with any arguments that table.h allows. */
#include "__fc_builtin.h"

#include "table.h"

int main(void)
{
	uint16_t at = Frama_C_interval(0, 1) ? 1 : BANK_SIZE + 1;
	int32_t carry = Frama_C_long_interval(-5000000, 5000000);
	int32_t after;

	if (table_open(at, BANK_SIZE - 1) != TABLE_GOOD)
		return 1;
	/* From a day before 2000 to 2100-02-28: the clock chip's calendar, and the cursor's. */
	after = Frama_C_long_interval(-1440, 52661000);
	if (table_next(after, (uint16_t)Frama_C_interval(0, SEARCH_MINUTES), (uint8_t)Frama_C_interval(0, ALL_PRESETS)))
		table_pockets((uint8_t)Frama_C_interval(8, 12), &carry);
	table_pockets_of(table.button_units, 10, &carry);
	return 0;
}
