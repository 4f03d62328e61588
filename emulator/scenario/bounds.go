package scenario

import "fmt"

// bound is the range of a key of an event.
type bound struct {
	key, unit   string
	least, most float64
}

// value is what an event gives for a key; nothing is 0.
func (e *Event) value(key string) float64 {
	switch key {
	case "volts":
		return e.Volts
	case "ohms":
		return e.Ohms
	case "amps":
		return e.Amps
	case "pockets":
		return e.Pockets
	case "percent":
		return e.Percent
	case "per_volt":
		return e.PerVolt
	case "per_degree":
		return e.PerDegree
	case "micros":
		return e.Micros
	case "ppm":
		return e.PPM
	case "celsius":
		return e.Celsius
	case "grams":
		return e.Grams
	case "clocks":
		return float64(e.Clocks)
	}
	panic("no event has a number " + key)
}

// inBounds says what is wrong with an event's numbers, if anything.
func (e *Event) inBounds() error {
	for _, b := range actions[e.Do].bounds {
		if v := e.value(b.key); !(b.least <= v && v <= b.most) { // not a number is none
			return fmt.Errorf("%s is %v; give %v to %v %s, such as %s = %v", b.key, v, b.least, b.most, b.unit, b.key, (b.least+b.most)/2)
		}
	}
	return nil
}
