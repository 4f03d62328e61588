//go:build cgo && linux

package simavrtest

/*
#cgo CFLAGS: -I/usr/include/simavr -O2
#cgo LDFLAGS: -lsimavr -lelf
#include <stdlib.h>
#include <string.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_core.h>

typedef struct {
	uint8_t  regs[32];
	uint8_t  sreg;
	uint8_t  gpior[3];
	uint16_t sp, pc;    // pc in words
	uint16_t addr;      // start of the data window
	uint8_t  window[4];
	uint16_t cycles;
} vector;

static void quiet(avr_t *avr, const int level, const char *format, va_list ap) {}

static avr_t *chip(const char *name, uint32_t hz) {
	avr_global_logger_set(quiet);
	avr_t *avr = avr_make_mcu_by_name(name);
	if (!avr)
		return NULL;
	avr_init(avr);
	avr->frequency = hz;
	return avr;
}

static void load(avr_t *avr, uint8_t *flash, uint32_t n) {
	memcpy(avr->flash, flash, n);
	avr->codeend = avr->flashend;
}

static const uint16_t gpior[3] = {0x3E, 0x4A, 0x4B};

static void step(avr_t *avr, vector *v) {
	memcpy(avr->data, v->regs, 32);
	for (int b = 0; b < 8; b++)
		avr->sreg[b] = v->sreg >> b & 1;
	for (int i = 0; i < 3; i++)
		avr->data[gpior[i]] = v->gpior[i];
	avr->data[R_SPL] = v->sp;
	avr->data[R_SPH] = v->sp >> 8;
	memcpy(avr->data + v->addr, v->window, 4);
	avr->pc = 2 * v->pc;
	avr->state = cpu_Running;
	avr->interrupt_state = 0;
	avr->run_cycle_count = 0;
	avr_cycle_count_t before = avr->cycle;
	avr->pc = avr_run_one(avr);
	v->cycles = avr->cycle - before;
	v->pc = avr->pc / 2;
	memcpy(v->regs, avr->data, 32);
	v->sreg = 0;
	for (int b = 0; b < 8; b++)
		v->sreg |= avr->sreg[b] << b;
	for (int i = 0; i < 3; i++)
		v->gpior[i] = avr->data[gpior[i]];
	v->sp = avr->data[R_SPL] | avr->data[R_SPH] << 8;
	memcpy(v->window, avr->data + v->addr, 4);
}

static void steps(avr_t *avr, vector *v, int n) {
	for (int i = 0; i < n; i++)
		step(avr, v + i);
}

static uint64_t run(avr_t *avr, uint64_t cycles) {
	uint64_t end = avr->cycle + cycles;
	avr->run_cycle_limit = 1000000;
	while (avr->cycle < end && avr->state == cpu_Running)
		avr_run(avr);
	return avr->cycle;
}

static uint8_t data(avr_t *avr, uint16_t addr) { return avr->data[addr]; }
*/
import "C"

import (
	"fmt"
	"unsafe"
)

// Vector is a CPU state before or after one instruction: registers, SREG, the
// three general purpose I/O registers, SP, PC in words, and four bytes of data
// memory from Addr on. Cycles is an output. The layout is that of the C struct.
type Vector struct {
	Regs   [32]uint8
	SREG   uint8
	GPIOR  [3]uint8
	SP, PC uint16
	Addr   uint16
	Window [4]uint8
	Cycles uint16
}

var _ [unsafe.Sizeof(C.vector{})]byte = [unsafe.Sizeof(Vector{})]byte{}

// Chip is one emulated chip of libsimavr.
type Chip struct{ avr *C.avr_t }

// New makes a chip by simavr's name, "atmega328p" or "atmega168p".
func New(name string, hz uint32) (*Chip, error) {
	s := C.CString(name)
	defer C.free(unsafe.Pointer(s))
	avr := C.chip(s, C.uint32_t(hz))
	if avr == nil {
		return nil, fmt.Errorf("libsimavr does not know %s", name)
	}
	return &Chip{avr}, nil
}

// Load puts bytes into flash from address 0.
func (c *Chip) Load(flash []byte) {
	C.load(c.avr, (*C.uint8_t)(unsafe.Pointer(&flash[0])), C.uint32_t(len(flash)))
}

// Step executes one instruction from each state and replaces it by the state after.
func (c *Chip) Step(v []Vector) {
	C.steps(c.avr, (*C.vector)(unsafe.Pointer(&v[0])), C.int(len(v)))
}

// Run executes for a number of cycles and returns the cycle count reached.
func (c *Chip) Run(cycles uint64) uint64 { return uint64(C.run(c.avr, C.uint64_t(cycles))) }

// Data returns one byte of data memory.
func (c *Chip) Data(addr uint16) uint8 { return uint8(C.data(c.avr, C.uint16_t(addr))) }
