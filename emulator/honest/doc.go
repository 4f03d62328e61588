// Package honest holds the feeder to its word: whatever fails, what its history says fell is what fell, to one pocket, or it
// shows a fault.
//
// In: firmware images, faults of the world (package board), one or two of them together, at a phase of a serving, on a supply.
// Out: for each run the rules that were broken; for all of them the matrix of the firmware's page HONESTY.md.
//
// The judge looks at the world only: pockets with kibble in them that fell, pushes of the servo, flashes of the light, writes
// of EEPROM cells; and compares them with what the feeder says: its history, its status, its light. It knows nothing of how
// the firmware decides.
package honest
