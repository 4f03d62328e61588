package calibrate

import "math"

// studentQuantile is the value that Student's t with so many degrees of freedom stays below with probability p (0.5 to 1).
// It inverts the distribution by bisection: 60 halvings leave nothing to wish for, and weighings are few.
func studentQuantile(p float64, df int) float64 {
	low, high := 0.0, 1.0
	for studentCDF(high, df) < p && high < 1e9 {
		high *= 2
	}
	for range 60 {
		mid := (low + high) / 2
		if studentCDF(mid, df) < p {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// studentCDF for t ≥ 0, by the regularized incomplete beta function: 1 − I_x(df/2, 1/2)/2 with x = df/(df + t²).
func studentCDF(t float64, df int) float64 {
	n := float64(df)
	return 1 - incompleteBeta(n/(n+t*t), n/2, 0.5)/2
}

// incompleteBeta is I_x(a, b) by its continued fraction (Digital Library of Mathematical Functions 8.17.22), which
// converges fast for x < (a+1)/(a+b+2); beyond, by the symmetry 8.17.4.
func incompleteBeta(x, a, b float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	case x > (a+1)/(a+b+2):
		return 1 - incompleteBeta(1-x, b, a)
	}
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lab, _ := math.Lgamma(a + b)
	front := math.Exp(a*math.Log(x)+b*math.Log1p(-x)+lab-la-lb) / a
	return front / betaFraction(x, a, b)
}

// betaFraction evaluates 1 + d1/(1 + d2/(1 + …)) from the far end. The terms needed grow with the root of a and b
// (Numerical Recipes 6.4); three times as many and a few leave a wide margin.
func betaFraction(x, a, b float64) float64 {
	depth := 60 + 6*int(math.Sqrt(max(a, b)))
	f := 1.0
	for k := depth; k >= 1; k-- {
		m := float64(k / 2)
		var d float64
		if k%2 == 0 {
			d = m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		} else {
			d = -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		}
		f = 1 + d/f
	}
	return f
}
