// Command mealtab turns a household's meal plan into a proved alarm table for a home-built feeder.
//
// In: plans (TOML or iCalendar), tables, recurrence rules, from files or standard input. Out: text on standard output,
// diagnostics on standard error. Exit code 0: good; 1: the input or a check failed; 2: wrong usage. The commands only
// read, call packages and print.
package main

import "os"

func main() { os.Exit(run()) }

// run is main without the exit, for tests.
func run() int { return newApp(os.Stdin, os.Stdout, os.Stderr).execute(os.Args[1:]) }
