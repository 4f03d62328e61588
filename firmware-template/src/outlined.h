/* What a declaration asks of the compiler.
 *
 * Keeps a function out of line, or in line: avr-gcc 5.4 copies some where a call is shorter, and calls some where it is longer. Each
 * was measured. */
#ifndef OUTLINED_H
#define OUTLINED_H

#define OUTLINED __attribute__((noinline))
#define INLINED static inline __attribute__((always_inline))

/* A variable that a reset leaves as it is. */
#ifdef __AVR__
#define NOINIT __attribute__((section(".noinit")))
#else
#define NOINIT
#endif

#endif
