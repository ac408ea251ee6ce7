// Package timing tells when laps, sectors and stints begin and end, how long they took, whether
// they count and how they compare with other laps at equal distance. It writes the channels lap, lap_elapsed,
// completed_lap_time, sector_time, delta_best, stint, in_pits, course_distance and their like.
//
//	row ──▶ line (gate, lap distance or lap number, else found) ──crossing──▶ laps ──▶ events, channels
//	    ──▶ pit lane, stop place ─────────────────────────────────in, out───▶ stints ─▶
//	    ──▶ course_distance ──▶ trace of the lap ──against the best, the last, the saved one──▶ deltas
//
// A crossing lies between two samples and is interpolated, linearly in the signed distance: the car is taken to keep
// its speed. With an acceleration a between samples an interval T apart its way differs from that by up to a·T²/8, in
// the middle, and so the crossing at speed v by up to a·T²/(8·v) in time. The feed's own lap time wins where it has
// one: after a crossing timing waits up to one second for last_lap_time to change, so LapDone and the channels of the
// completed lap may come that much after LapBegun; lap and lap_elapsed never wait.
//
// The package is pure: no file, clock, goroutine or network, and no allocation per
// sample; a completed lap allocates its sectors, a record of all sessions its trace. Memory does not grow with the
// session: a lap by distance has a place every 5 m in arrays that are taken once.
package timing
