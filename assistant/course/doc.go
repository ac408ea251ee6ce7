// Package course knows the road: the course file of the user, the map that is learned while driving, and what both say
// about the place of the car.
//
//	row ──▶ Learner ──a lap closed at the line──▶ Map ──▶ Passes ──▶ row: corner, last_corner, room_to_talk
//	                 (later laps: braking points, line)          └──▶ Pass: one drive through one corner
//
// Package timing comes first: it writes lap and course_distance into the row, and Learner and Passes use them. A Map
// never changes once it has been handed out; a better one replaces it.
//
// A course is found from x and y, from latitude and longitude, or from speed and yaw rate alone. On a measured oval log
// and on the demonstration's drives the first two agree to 0.001 % of the length, half a metre of an apex and 0.1 ms a
// lap; the third has the same corners, its length is as right as the speed is (0.8 % on the log), apexes lie within 25
// m, and a lap time is right to the sample at each end. A gyro's constant bias up to 1.5°/s is found and taken out.
// With a receiver that errs by a metre the corners stay the same in eleven laps of twelve, each learned anew, with a
// yaw rate beside a drifting one in nearly all (TestCornersStayUnderNoise); within a session the first clean lap
// numbers them for good.
//
// The package is pure: it never touches files, clocks, goroutines or the network, and a
// sample costs no allocation; closing a lap does.
package course
