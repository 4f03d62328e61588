// Package board emulates a whole feeder: the AVR of package avr with the clock module, servo and wheel, hopper, index
// switch, buttons, LED, supply and serial line around it.
//
// In: a firmware image, an alarm table, a start of the world in UTC, and what happens to the feeder (power cuts, presses,
// jams, broken wires). Out: events (pockets that fell, light, presses, resets), and the state of every part.
//
// # Time
//
// The world's time is nanoseconds since the board was made, that is [avr.MCU.Nanos]; Config.Start says which instant of
// UTC its beginning is. Nothing ticks: each part says when it may next change by itself, and the AVR runs freely until
// then. All randomness (bounce, masses, torn bytes) comes from one seeded generator, so a run repeats exactly.
//
// # Signals
//
//	PB1  servo pulse        PD2  INT of the clock (low active)    PD3 PD4 PD5  buttons feed, portion, preset (to ground)
//	PB5  LED                PD6  index switch (to ground)         PD7  supply of the servo, or enable of the boost converter
//	PC0  light barrier (to ground while it is lit)
//	PC4  SDA  PC5  SCL      PD0  RXD  PD1  TXD
//
// These are the pins of the firmware template's board headers.
package board
