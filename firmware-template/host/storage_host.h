#ifndef STORAGE_HOST_H
#define STORAGE_HOST_H

#include <stdint.h>

/* Room for the longest table the format can frame, behind a commit byte. */
#define HOST_STORAGE_SIZE 4096

extern uint8_t host_storage[HOST_STORAGE_SIZE];

#endif
