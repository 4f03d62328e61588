package main

import "mealtab/compiler/zone"

// database is the time zone data to use: --zoneinfo, else the newer of system and program.
func (a *app) database() (*zone.Database, error) {
	if a.zoneDir != "" {
		return zone.Dir(a.zoneDir)
	}
	return zone.Default(), nil
}
