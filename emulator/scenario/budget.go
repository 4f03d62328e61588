package scenario

import (
	"fmt"
	"time"

	"mealtab/compiler/units"
)

// MostRows is how many events of a kind, or changes of a signal, an output holds unless it is told otherwise. A bus that is
// shorted for two days makes ten million.
const MostRows = 250_000

// budget counts what an output holds of each kind of event or signal and what it leaves out.
type budget struct {
	most  int
	used  map[string]*used
	order []string // of what was left out, by when that began
}

type used struct {
	rows, left int
	last       time.Time // of the last one that is held
}

func newBudget(most int) *budget {
	if most == 0 {
		most = MostRows
	}
	return &budget{most: most, used: map[string]*used{}}
}

// take reports whether one more may be written; first is true for the first that may not.
func (b *budget) take(kind string, at time.Time) (ok, first bool) {
	u := b.used[kind]
	if u == nil {
		u = &used{}
		b.used[kind] = u
	}
	if u.rows < b.most {
		u.rows, u.last = u.rows+1, at
		return true, false
	}
	u.left++
	if u.left == 1 {
		b.order = append(b.order, kind)
	}
	return false, u.left == 1
}

// leftOut says what was left out, a sentence for each kind.
func (b *budget) leftOut() (list []string) {
	for _, kind := range b.order {
		u := b.used[kind]
		list = append(list, fmt.Sprintf("%s: %s more after %s are left out", kind, units.Thousands(u.left), u.last.UTC().Format(stampLayout)))
	}
	return list
}
