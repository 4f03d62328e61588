package review

import (
	"fmt"

	"mealtab/compiler/plan"
	"mealtab/compiler/replay"
)

// days sums up servings by local date.
type days struct {
	r      *review
	first  int // date of totals[0]
	totals []dayTotal
}

type dayTotal struct {
	units    int64 // mass units planned
	servings int
}

func newDays(r *review) *days { return &days{r: r} }

func (d *days) add(s replay.Serving) {
	day := dayOf(d.r.nominal(s.At))
	if d.totals == nil {
		d.first = day
	}
	for len(d.totals) <= day-d.first {
		d.totals = append(d.totals, dayTotal{})
	}
	if day < d.first {
		return // a clock set back over midnight at the very beginning
	}
	t := &d.totals[day-d.first]
	t.servings++
	for _, m := range s.Meals {
		t.units += int64(m.Units)
	}
}

// rare is the share of days that may be odd and still be a slip rather than a habit: four days a year.
const rare = 1.0 / 90

// oddDays warns of days whose total is far from that of the same weekday a week before and a week after, where those
// two agree and are not without food: a treat on a day of its own is what the plan says.
func (r *review) oddDays(preset int, d *days) {
	var odd []int
	for i := 7; i+7 < len(d.totals); i++ {
		before, here, after := d.totals[i-7].units, d.totals[i].units, d.totals[i+7].units
		if before == after && before > 0 && here > 0 && (2*here >= 3*before || 2*here <= before) {
			odd = append(odd, i)
		}
	}
	if len(odd) == 0 || float64(len(odd)) > max(1, rare*float64(len(d.totals))) {
		return
	}
	first, also := odd[0], ""
	if len(odd) > 1 {
		also = "also on " + dateText(d.first+odd[1], dayLayout)
	}
	if len(odd) > 2 {
		also += fmt.Sprintf(" and on %d more days by %s", len(odd)-2, dateText(d.first+len(d.totals), "2006"))
	}
	r.warn(CodeDay, plan.Pos{}, also, "%son %s the feeder gives %s instead of the usual %s", r.inPreset(preset),
		dateText(d.first+first, dayLayout), r.amount(d.totals[first].units), r.amount(d.totals[first-7].units))
}

// amount shows mass units as weight, or as pockets where the weight is not known.
func (r *review) amount(units int64) string {
	if mg := int64(r.Table.Wheel.UnitMg); mg > 0 {
		return fmt.Sprintf("%.4g g", float64(units*mg)/1000)
	}
	return plan.Portion{Pockets: int(units)}.String()
}
