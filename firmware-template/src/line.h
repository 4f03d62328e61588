/* The serial line. line.c: frames (RFC 1662 sections 4 and C.2) and messages, pure C. uart.c: its UART half. */
#ifndef LINE_H
#define LINE_H

#include <stdbool.h>
#include <stdint.h>

/* Takes one octet from the line; called by the receive interrupt. While a frame waits to be answered, octets are dropped:
 * the host waits for its answer. */
void line_receive(uint8_t octet);
/* A frame waits; line_answer looks at its check. */
bool line_ready(void);
/* Does what the frame that waits asks for, and answers, if its check is good, else drops it; then turns what was asked for. */
void line_answer(void);
/* Forgets a frame in progress, after sleep. */
void line_reset(void);

/* The UART half. */
/* On a board with a crystal the line is open from now on; else from the first preamble on. */
void uart_init(void);
void uart_send(uint8_t octet);
/* A frame has come; its check was good or not. */
void uart_heard(bool good);
/* The line was used, or may be about to be, within the last seconds: stay awake. */
bool uart_busy(void);
/* To be called once a tick while it is. */
void uart_ticked(void);
/* After a wake-up by the line: measures the bit time where the board has no crystal. */
void uart_wake(void);

#endif
