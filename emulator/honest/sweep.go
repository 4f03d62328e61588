package honest

import (
	"runtime"
	"sync"
)

// Days lists every fault of every image, on its good supply, for three days.
func Days() (list []Case) {
	for i, image := range Images {
		for k, f := range faultsFor(image) {
			list = append(list, Case{Image: image, Supply: suppliesFor(image)[0].Name, Faults: []string{f.Name}, Phase: (i + k) % phasesOf(f)})
		}
	}
	return list
}

// Singles lists every fault at every phase on every supply of every image, for an evening.
func Singles() (list []Case) {
	for _, image := range Images {
		for _, s := range suppliesFor(image) {
			for _, f := range faultsFor(image) {
				for phase := range phasesOf(f) {
					list = append(list, Case{Image: image, Supply: s.Name, Faults: []string{f.Name}, Phase: phase, Short: true})
				}
			}
		}
	}
	return list
}

// phasesOf is how many phases matter: a fault that is always there before the serving has one, but for a jam, whose phase is
// its place.
func phasesOf(f Fault) int {
	if f.early && !f.placed {
		return 1
	}
	return Phases
}

// PairPhases is at how many phases the sweep tries each pair.
const PairPhases = 5

// Pairs lists every pair of faults of every image, on its good supply, for an evening, at n phases, which differ from pair to pair.
func Pairs(n int) (list []Case) {
	count := 0
	for _, image := range Images {
		faults := faultsFor(image)
		for i, a := range faults {
			for _, b := range faults[i+1:] {
				for k := range n {
					phase := (count + k*Phases/n) % Phases
					list = append(list, Case{Image: image, Supply: suppliesFor(image)[0].Name, Faults: []string{a.Name, b.Name}, Phase: phase, Short: true})
				}
				count++
			}
		}
	}
	return list
}

// Sample takes every n-th case, from the k-th on.
func Sample(list []Case, n, k int) (some []Case) {
	for i := k % n; i < len(list); i += n {
		some = append(some, list[i])
	}
	return some
}

// Sweep runs cases on all processors and returns their outcomes in order. each sees them as they come, one at a time, and may be
// nil. The error is a fault of a case.
func Sweep(cases []Case, each func(*Outcome)) ([]*Outcome, error) {
	outcomes := make([]*Outcome, len(cases))
	errs := make([]error, len(cases))
	next := make(chan int)
	var wait sync.WaitGroup
	var lock sync.Mutex
	for range runtime.GOMAXPROCS(0) {
		wait.Add(1)
		go func() {
			defer wait.Done()
			bases := Bases{}
			for i := range next {
				outcomes[i], errs[i] = bases.Run(cases[i], nil)
				if each != nil && errs[i] == nil {
					lock.Lock()
					each(outcomes[i])
					lock.Unlock()
				}
			}
		}()
	}
	for i := range cases {
		next <- i
	}
	close(next)
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return outcomes, nil
}
