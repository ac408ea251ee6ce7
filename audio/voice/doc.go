// Package voice turns a text into a clip from a pack of recorded units: whole
// phrases where the pack has them, single words otherwise.
//
//	text ──spoken.Text──▶ words and pauses ──fewest units──▶ plan ──▶ Duration
//	                                                          └─────▶ Clip
//
// A pack is a folder with index.tsv, which says where each unit lies, and one FLAC
// file with all units, already trimmed, filtered and made equally loud. Because
// Duration and Clip follow one plan, the length that a scheduler counts with is
// exactly the length that is played.
//
// A Voice does not change after Open and may be used by several goroutines.
// Duration and Clip are pure; only Say may run a program, an installed
// synthesiser, for a text that the pack does not cover.
package voice
