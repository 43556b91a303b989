// Package observe estimates what happens inside the bean bed: bean temperature
// without probe lag, its rate, moisture, dry-matter loss and reaction heat, each
// with its uncertainty, from the bean probe, the inlet air, the drum skin and
// the air flow. It also learns the probe's lag and the batch's heat transfer.
//
// It is an extended Kalman filter on the equations of package bean. Its covariance
// sets the gains only; the sds it states come from an account of what it was told
// and could be told wrongly (sources.go), whose errors last a whole batch where the
// filter's noise is new in each scan. It does not control anything, and it does not
// judge the probe: a reading the caller distrusts is given as NaN, and the filter
// then predicts with growing sd.
//
// Invariant: the state stays finite and inside its physical bounds and the
// covariance symmetric with a positive diagonal, whatever the readings.
//
// Goroutines: a Filter belongs to one goroutine. Predict, Update and Estimate
// allocate nothing.
package observe
