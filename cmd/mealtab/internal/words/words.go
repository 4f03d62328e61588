// Package words writes numbers as a sentence has them.
package words

import (
	"fmt"
	"strconv"
)

// Count is "1 warning", "2 warnings".
func Count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%s %ss", Thousands(n), what)
}

// Thousands groups digits: "81,034".
func Thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
