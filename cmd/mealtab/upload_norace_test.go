//go:build !race

package main

// The race detector makes a year of the firmware take half a minute; [BenchmarkPlanChange] rehearses ten without it.
const rehearsedYears = "1"
