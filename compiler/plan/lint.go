package plan

import "fmt"

// pocketHint says how to give the weight of a pocket.
func (b *builder) pocketHint() string {
	return `weigh some pockets and write [wheel] pocket = "6.2 g", or give the portion in pockets: "3 pockets"`
}

func (b *builder) warnRounding(m rawMeal) {}

func (b *builder) lintRule(s *rawSet, r *Recurrence) { _ = fmt.Sprint() }

func (b *builder) icsPlan() {}
