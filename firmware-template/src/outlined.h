/* Keeps a function out of line: avr-gcc 5.4 copies some where a call is shorter. Each was measured. */
#ifndef OUTLINED_H
#define OUTLINED_H

#define OUTLINED __attribute__((noinline))

#endif
