/* Endless Shell sort of 16-bit numbers and a search for each by halving: a benchmark program. GPIOR0 counts rounds; wrong counts
 * numbers that were not found where they belong. */
#include <avr/io.h>
#include <stdint.h>

#define COUNT 400

static int16_t list[COUNT];
volatile uint16_t wrong;
static uint16_t seed = 1;

static int16_t next(void)
{
	seed ^= seed << 7;
	seed ^= seed >> 9;
	seed ^= seed << 8;
	return (int16_t)seed;
}

static void sort(void)
{
	for (uint16_t gap = COUNT / 2; gap; gap = gap > 2 ? gap * 5 / 11 : gap / 2)
		for (uint16_t i = gap; i < COUNT; i++) {
			int16_t v = list[i];
			uint16_t j = i;
			for (; j >= gap && list[j - gap] > v; j -= gap)
				list[j] = list[j - gap];
			list[j] = v;
		}
}

static uint16_t find(int16_t v)
{
	uint16_t low = 0, high = COUNT;
	while (low < high) {
		uint16_t middle = (low + high) / 2;
		if (list[middle] < v)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

int main(void)
{
	for (;;) {
		for (uint16_t i = 0; i < COUNT; i++)
			list[i] = next();
		sort();
		for (uint16_t i = 0; i < COUNT; i++) {
			uint16_t at = find(list[i]);
			if (at > i || list[at] != list[i])
				wrong++;
		}
		GPIOR0++;
	}
}
