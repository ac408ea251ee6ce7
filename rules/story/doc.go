// Package story tests rules: samples in, calls out, in one YAML file. configs/rules/README.md describes the file.
//
//	story file ──▶ samples ──▶ rules.Memory ──▶ calls ──▶ compared with those expected
//
// It tests what rules say, not when there is room to say it: the scheduler decides that.
package story
