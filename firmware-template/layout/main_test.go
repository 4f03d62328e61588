package main

import (
	"slices"
	"testing"
)

// A caller whose two calls lie at its ends reaches 2,048 words either way (AVR instruction set manual, RCALL): with 6,000 bytes between it
// and what it calls both are too far, next to it none is.
func TestFar(t *testing.T) {
	l := layout{
		names: []string{"caller", "bulk", "called"},
		programs: []program{{
			size:  []int{100, 6000, 50},
			calls: []call{{0, 2, 2}, {0, 98, 2}},
		}},
	}
	if n := l.far([]int{0, 1, 2}); n != 2 {
		t.Errorf("%d calls too far with the bulk between, want 2", n)
	}
	if n := l.far([]int{1, 0, 2}); n != 0 {
		t.Errorf("%d calls too far side by side, want 0", n)
	}
	if order := l.search(1000); l.far(order) != 0 {
		t.Errorf("the search ends with %v, which leaves calls too far", order)
	}
}

func TestMove(t *testing.T) {
	from, to := []int{0, 1, 2, 3, 4}, make([]int, 5)
	for _, c := range []struct {
		a, b int
		want []int
	}{
		{1, 3, []int{0, 2, 3, 1, 4}},
		{3, 1, []int{0, 3, 1, 2, 4}},
		{2, 2, []int{0, 1, 2, 3, 4}},
		{4, 0, []int{4, 0, 1, 2, 3}},
	} {
		if move(to, from, c.a, c.b); !slices.Equal(to, c.want) {
			t.Errorf("from %d to %d: %v, want %v", c.a, c.b, to, c.want)
		}
	}
}

// What link-time optimisation and the libraries call a function, and the section it lies in.
func TestSection(t *testing.T) {
	for name, want := range map[string]string{
		"turn.lto_priv.26": "turn", "journal_left.constprop.3": "journal_left", "main": "main", "__vector_18": "__vector_18",
		"__udivmodsi4_loop": "libgcc.div", "__umulhisi3": "libgcc.mul", "memcmp": "avr-libc", "memory_read": "memory_read",
		"__prologue_saves__": "libgcc.prologue", "__ctors_end": "", "power_early": "",
	} {
		if got := section(name); got != want {
			t.Errorf("%s lies in %q, want %q", name, got, want)
		}
	}
}
