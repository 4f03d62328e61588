#ifndef LINE_STUBS_H
#define LINE_STUBS_H

#include <stdint.h>

#define STUB_OUTPUT 512

extern uint32_t stub_time;    /* seconds since 2000 */
extern uint32_t stub_pockets; /* turned since the start */
extern uint8_t stub_output[STUB_OUTPUT];
extern uint16_t stub_output_size;

#endif
