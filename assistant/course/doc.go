// Package course knows the road: the course file that a user writes, the map that is
// learned while driving, and what follows from both for the place where the car is now.
//
//	row ──▶ Learner ──a lap closed at the line──▶ Map ──▶ Passes ──▶ row: corner, last_corner, room_to_talk
//	                 (later laps: braking points, line)          └──▶ Pass: one drive through one corner
//
// Package timing comes first: it writes lap and course_distance into the row, and both
// Learner and Passes go by them. A Map is never changed once it has been handed out; a
// better one replaces it.
//
// The package is pure: it never touches files, clocks, goroutines or the network, and a
// sample costs no allocation; closing a lap does.
package course
