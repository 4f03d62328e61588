// Package check runs the firmware's pure modules on the build machine: the C engine, journal and protocol are compiled
// with the address and undefined-behaviour sanitizers and driven through pipes by the tests of this package, which
// compare them with the Go side. In: C sources in ../src. Out: only test results.
package check
