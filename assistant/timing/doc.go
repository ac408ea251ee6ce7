// Package timing finds when laps, sectors and stints begin and end, how long they took, whether they count and how they
// compare with other laps at equal distance. It writes lap, lap_elapsed, completed_lap_time, sector_time, delta_best,
// stint, in_pits, course_distance and related channels.
//
//	row ──▶ line (gate, lap distance or lap number, else found) ──crossing──▶ laps ──▶ events, channels
//	    ──▶ pit lane, stop place ─────────────────────────────────in, out───▶ stints ─▶
//	    ──▶ course_distance ──▶ trace of the lap ──against the best, the last, the saved one──▶ deltas
//
// A crossing lies between two samples and is interpolated linearly in the signed distance, as if the car kept its
// speed. With an acceleration a between samples an interval T apart, the way is wrong by up to a·T²/8 in the middle,
// and the time of a crossing at speed v by up to a·T²/(8·v). The feed's own lap time wins where it has one: timing
// waits up to a second after a crossing for last_lap_time to change. So LapDone and the channels of the completed lap
// may come that much after LapBegun; lap and lap_elapsed never wait.
//
// The package is pure: no file, clock, goroutine or network, and no allocation per sample. A completed lap allocates
// its sectors, a record of all sessions its trace. Memory does not grow with the session: a lap by distance has a place
// every 5 m, in arrays that are allocated once.
package timing
