// Package readings works out from what a phone read what a verdict needs of it: for each hold
// the background and what the pad adds to it, or where a compass settled, with their errors.
// It knows of no fault and of no hypothesis, and of the plan only how its supply is driven.
//
// A capture comes in cut into stretches (package capture). Its times are mended first
// (times.go), then the moments at which the supply was told to be switched (told_swapped.go,
// told_late.go), since people tell it a moment before or after they do it, or the wrong way
// round; [Of] does that for a whole capture, [Source.Hold] then reads one hold of it:
//
//	what the supply did, and which samples lie too near a switching   supply.go
//	a phone that still moved as the hold began                        arrive.go
//	a sensor that stopped, or repeats itself                          frozen.go
//	the end of the sensor's range                                     clipping.go
//	background and pull, and a phone that re-zeroed itself meanwhile  jump.go, by the sums of moments.go
//	a switching told a moment off that no levels show                 told_doubt.go
//	noise, and a phone that would not lie still                       noise.go
//	a supply that pulses                                              pulses.go, pulse_levels.go
//	a sensor too slow for the pulses                                  smooth.go
//	where a compass settled ([Source.Turn])                           compass.go
//
// # Units and frames
//
// Fields are in microtesla, as phones tell them, and in the phone's own axes (x to the right
// of the screen, y to its top, z out of it); nothing here turns them to the pad's. Times are
// seconds of the capture's own clock. Variances are in uT². Chances and weights are natural
// logarithms where a name says log.
package readings
