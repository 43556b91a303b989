// Package lsq fits a few parameters to many measurements by bounded nonlinear
// least squares, and says how well the measurements tell them: standard
// deviations, correlations, and the combinations that the data leave open.
//
// It is not for a scan: it allocates, and takes as long as its residuals take.
// It knows nothing of processes or machines.
//
// Invariant: a solution lies within its bounds and is never worse than the
// start. The same problem gives the same solution. Functions are safe for
// concurrent use if the residuals are.
package lsq
