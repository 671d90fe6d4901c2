// Package leastsquares minimises sums of squares by the method of Levenberg
// (1944) and Marquardt (1963). It knows nothing of what the residuals mean.
package leastsquares
