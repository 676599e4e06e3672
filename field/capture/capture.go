// Package capture reads what a phone, a hand or an ohmmeter reported: the
// JSON Lines of a capture file, which are also the lines of the live stream.
//
// Samples are in the phone frame of the W3C Magnetometer and DeviceOrientation
// drafts: x to the right of the screen, y to its top edge, z out of it. Field
// is in microtesla, angles in degrees, time in seconds, as in the file: the
// conversion to SI is made by whoever computes with them.
package capture
