//go:build unix

package main

import (
	"os"
	"syscall"
)

// keepOwner gives a new file the owner and group of the one it takes the place of, as far as its writer may.
func keepOwner(f *os.File, old os.FileInfo) {
	if stat, ok := old.Sys().(*syscall.Stat_t); ok {
		_ = f.Chown(int(stat.Uid), int(stat.Gid))
	}
}
