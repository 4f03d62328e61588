/* The feeder's firmware as a sketch: everything is in src, own main() included, so this file holds no code. Choose a
 * board with an ATmega328P at 16 MHz or 8 MHz, or with an ATmega168 at 16 MHz; src/board.h picks the header in boards. */
