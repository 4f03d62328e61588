/* Opens a history of any bytes, beside the clock or in the AVR, adds to it and reads any slot. */
// eva: -eva-precision 4 -eva-auto-loop-unroll 64
#include "__fc_builtin.h"

#include "history.h"
#include "table_format.h"

int main(void)
{
	uint8_t raw[HISTORY_SIZE];
	int32_t minute = Frama_C_long_interval(0, 0x3FFFFFF); /* 26 bits are kept */

	history_open();
	history_add(&minute, (uint8_t)Frama_C_interval(0, 63), (uint16_t)Frama_C_long_interval(0, 65535));
	history_add_once(&minute, (uint8_t)Frama_C_interval(0, 63), (uint16_t)Frama_C_long_interval(0, 65535));
	history_get((uint16_t)Frama_C_long_interval(0, 65535), raw);
	Frama_C_show_each_end();
	return 0;
}
