package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"mealtab/compiler/table"
	"mealtab/compiler/zone"
	"mealtab/flasher/frame"
)

// release is the version that a release was built as; empty in a build by hand.
var release string

// versionText says what this program is made of: what to tell when asking for help.
func versionText() string {
	own, used := zone.Embedded().Version(), zone.Default()
	zones := own
	if used.Version() != own {
		zones = fmt.Sprintf("%s here, %s in the system, which is newer and used", own, used.Version())
	}
	return fmt.Sprintf(`mealtab %s
  zone data     %s
  firmware      %d, speaking version %d of the messages
  table format  %d
  built with    %s for %s/%s
`, programVersion(), zones, frame.FirmwareVersion, frame.Version, table.Version, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

// programVersion is the release, or the commit that was built, as far as the build recorded it.
func programVersion() string {
	if release != "" {
		return release
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "built by hand"
	}
	commit, changed := "", ""
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			commit = s.Value[:min(12, len(s.Value))]
		case "vcs.modified":
			if s.Value == "true" {
				changed = ", changed since"
			}
		}
	}
	if commit == "" {
		return "built by hand"
	}
	return "built by hand from commit " + commit + changed
}
