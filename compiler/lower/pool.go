package lower

import (
	"slices"

	"mealtab/compiler/table"
)

// pool numbers distinct rules. Rules are the same when their bytes are.
type pool struct {
	uses  map[string]*pooled
	order []*pooled
}

type pooled struct {
	rule   table.Rule
	uses   int
	number int
}

var everydayBytes = func() string { r := table.Everyday(); return string(table.EncodeRule(&r)) }()

func newPool() *pool { return &pool{uses: map[string]*pooled{}} }

func (p *pool) count(r *table.Rule) {
	key := string(table.EncodeRule(r))
	if key == everydayBytes {
		return // rule 0 needs no bytes
	}
	e := p.uses[key]
	if e == nil {
		e = &pooled{rule: *r}
		p.uses[key] = e
		p.order = append(p.order, e)
	}
	e.uses++
}

// ranked orders the rules by use and numbers them from 1.
func (p *pool) ranked() []table.Rule {
	slices.SortStableFunc(p.order, func(a, b *pooled) int { return b.uses - a.uses })
	var rules []table.Rule
	for i, e := range p.order {
		e.number = i + 1
		rules = append(rules, e.rule)
	}
	return rules
}

func (p *pool) number(r *table.Rule) int {
	if e := p.uses[string(table.EncodeRule(r))]; e != nil {
		return e.number
	}
	return 0
}
