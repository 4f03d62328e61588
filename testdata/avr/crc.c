/* Endless CRC-16/CCITT and CRC-32 over a kilobyte of SRAM: a benchmark program.
 * GPIOR0 counts rounds; the sums stand in crc16 and crc32. */
#include <avr/io.h>
#include <stdint.h>

static uint8_t buffer[1024];
volatile uint16_t crc16;
volatile uint32_t crc32;

static uint16_t ccitt(uint16_t crc, uint8_t b)
{
	crc ^= (uint16_t)b << 8;
	for (uint8_t i = 0; i < 8; i++)
		crc = crc & 0x8000 ? (uint16_t)(crc << 1) ^ 0x1021 : crc << 1;
	return crc;
}

static uint32_t reflected(uint32_t crc, uint8_t b)
{
	crc ^= b;
	for (uint8_t i = 0; i < 8; i++)
		crc = crc & 1 ? crc >> 1 ^ 0xEDB88320UL : crc >> 1;
	return crc;
}

int main(void)
{
	for (uint16_t i = 0; i < sizeof buffer; i++)
		buffer[i] = i * 7;
	for (;;) {
		uint16_t a = 0xFFFF;
		uint32_t b = 0xFFFFFFFFUL;
		for (uint16_t i = 0; i < sizeof buffer; i++) {
			a = ccitt(a, buffer[i]);
			b = reflected(b, buffer[i]);
		}
		crc16 = a;
		crc32 = ~b;
		GPIOR0++;
	}
}
