// Package drum turns the motion of a horizontal roasting drum into numbers:
// skin speed, turns a minute, drive frequency, Froude number, bed geometry, and
// the schedule of skin speed over mass loss that a roast follows.
//
// It is not for judging stalls or slip over time (package safety) and not for
// talking to a drive. Invariant: a schedule never asks for a speed outside the
// calibrated points, never rises with mass loss, and a follower never goes back
// in progress nor faster than its slew limit. Values are plain data: share
// copies freely, but a Follower belongs to one goroutine.
package drum
