// Package drum turns the motion of a horizontal roasting drum into numbers:
// skin speed, turns a minute, drive frequency and Froude number; bed, carry and
// throw of beans at each stage; the fit of a cold trial and the schedule of skin
// speed over mass loss that a roast follows; the place of the bean probe.
//
// It is not for judging stalls or slip over time (package safety) and not for
// talking to a drive. Invariant: a schedule never asks for a speed outside the
// calibrated points, never rises with mass loss, and a follower never goes back
// in progress nor faster than its slew limit; a result carries its uncertainty
// and where it comes from. Values are plain data: share copies freely, but a
// Follower belongs to one goroutine.
package drum
