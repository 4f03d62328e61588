// Package scenario runs the emulated feeder with a purpose: scripts of faults with expectations, rehearsals of a table
// over years, and sweeps of power cuts.
//
// In: an alarm table, a firmware image, a script or a span of time. Out: what was served, when, by which pocket; a report
// of what differs from the replay of the table; logs as plain text, CSV or VCD (IEEE 1364). It knows tables, not
// plans: who has a plan compiles it first. Instants are minutes of UTC since 2000 ([table.Minute]) where the
// table's are, else [time.Time] in UTC.
package scenario
