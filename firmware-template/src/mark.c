#include "mark.h"

#include "outlined.h"

OUTLINED uint8_t mark_of(uint8_t index)
{
	index &= MARK_INDEX;
	return index | (uint8_t)((index ^ MARK_INDEX) << 4);
}
