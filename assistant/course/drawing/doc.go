// Package drawing draws a course as a driver knows it: the road with its start line and direction, corner numbers on
// the outside, straights, braking and turn-in points, and by colour how much room there is to talk.
//
//	Map ──▶ plan: shapes and labels that keep clear of each other ──▶ SVG text or PNG image
//
// Both writers draw the same plan. The package never reads a file or a clock, never works out where a corner or a
// braking point is (package course does), and asks nothing of the browser: an SVG holds its own colours, for a light
// and a dark page.
package drawing
