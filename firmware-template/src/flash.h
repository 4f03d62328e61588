/* Constants that stay in flash: the AVR would copy them to RAM before main. On the host they are ordinary. */
#ifndef FLASH_H
#define FLASH_H

#ifdef __AVR__
#include <avr/pgmspace.h>
#define FLASH PROGMEM
#define FLASH_BYTE(at) pgm_read_byte(at)
#else
#define FLASH
#define FLASH_BYTE(at) (*(at))
#endif

#endif
