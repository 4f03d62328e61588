/* The feeder's firmware as a sketch: everything is in src, own main() included, so this file holds no code. Choose a
 * board with an ATmega328P at 16 MHz or 8 MHz; src/board.h picks the header in boards. A sketch is too large for an
 * ATmega168, which takes the image that make builds. */
#define FOR_A_CHIP
#include "src/chip.h" /* stops here, and says why, where the board has another chip */
