// Package timing tells when laps and stints begin and end, how long they took and whether
// they count. It writes the channels lap, lap_elapsed, completed_lap_time, stint, in_pits,
// course_distance and their like.
//
//	row ──▶ line (gate, lap distance or lap number) ──crossing──▶ laps ──▶ events, channels
//	    ──▶ pit lane ─────────────────────────────────in, out───▶ stints ─▶
//
// A crossing lies between two samples and is interpolated, linearly in the signed distance. The feed's
// own lap time wins where it has one: after a crossing timing waits up to one second for
// last_lap_time to change, so LapDone and the channels of the completed lap may come that much
// after LapBegun; lap and lap_elapsed never wait.
//
// The package is pure: no file, clock, goroutine or network, and no allocation per
// sample; a completed lap allocates its sectors.
package timing
