// Package story tests rules: samples in, calls out, in one YAML file. configs/rules/README.md describes the file.
//
//	story file ──▶ samples ──▶ rules.Memory ──▶ calls ──▶ compared with those expected
//
// It tests what rules say, and not when there is room to say it: that is decided by the scheduler.
package story
