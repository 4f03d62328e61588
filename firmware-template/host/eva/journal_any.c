/* Opens a journal of any bytes and does what the firmware does with one, in any order that a few calls can have. */
// eva: -eva-precision 4 -eva-auto-loop-unroll 64
#include "__fc_builtin.h"

#include "journal.h"
#include "table_format.h"

int main(void)
{
	journal_open();
	if (Frama_C_interval(0, 1))
		journal_resume(Frama_C_interval(0, 1) != 0, Frama_C_interval(0, 1) != 0);
	if (Frama_C_interval(0, 1))
		journal_append();
	journal_sealed();
	journal_unseal();
	journal_seal();
	if (journal.at != 0)
		journal_step((uint8_t)Frama_C_interval(1, POCKETS_PER_SLOT + 1));
	Frama_C_show_each_end();
	return 0;
}
