package main

import (
	"fmt"
	"strconv"
)

// count is "1 warning", "2 warnings".
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%s %ss", thousands(n), what)
}

// thousands groups digits: "81,034".
func thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
