package demo

import "math"

// mix is the finaliser of SplitMix64 (Steele, Lea and Flood, 2014, from memory): a number without a pattern for each
// argument. Noise is a function of the place or the step, not of how many numbers were drawn before: so it is the same
// at every rate.
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

func hash(seed, a, b uint64) uint64 { return mix(mix(mix(seed)^a) ^ b<<32) }

// unit maps to [0, 1).
func unit(h uint64) float64 { return float64(h>>11) / (1 << 53) }

// scatter has mean 0 and standard deviation 1 and never exceeds √6: the sum of two uniform numbers.
func scatter(h uint64) float64 {
	return math.Sqrt(6) * (float64(h>>32)/(1<<32) + float64(h&0xffffffff)/(1<<32) - 1)
}
