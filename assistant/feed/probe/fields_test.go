package probe

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/configs"
)

// demoBytes sends the demo's drive through its own layout.
func demoBytes(t testing.TB, send func(p []byte, at float64)) {
	t.Helper()
	data, err := configs.Files.ReadFile("feeds/demo.yaml")
	require.NoError(t, err)
	set := channel.NewSet()
	f, err := feedfile.Parse("demo.yaml", data, set)
	require.NoError(t, err)
	e, err := feed.NewEncoder(f, set)
	require.NoError(t, err)
	sim, err := demo.New(set, demo.Options{Seed: 3, Rate: 60, Laps: 2, Story: true})
	require.NoError(t, err)
	for {
		s, ok := sim.Next()
		if !ok {
			return
		}
		require.NoError(t, e.Encode(s, func(p []byte) { send(bytes.Clone(p), s.At) }))
	}
}

// truth is a field that was really sent.
type truth struct {
	at   int
	form form
	big  bool
}

func formOf(name string) form {
	for _, f := range forms {
		if f.name == name {
			return f
		}
	}
	panic(name)
}

// series is what a field says in each of the datagrams.
func series(sent [][]byte, at int, f form, big bool) []float64 {
	var list []float64
	for _, p := range sent {
		v, _ := f.read(p[at:at+f.size], big)
		list = append(list, v)
	}
	return list
}

// nearlyAll tells whether two say the same in 99 of 100 datagrams: one that dips below zero once in a while looks
// unsigned.
func nearlyAll(a, b []float64) bool {
	differ := 0
	for i := range a {
		if a[i] != b[i] {
			differ++
		}
	}
	return differ*100 <= len(a)
}

// A score counts true fields that vary: those of which a listed field says the same numbers in nearly every datagram,
// whatever the width of zeros above; and listed fields that are so.
type score struct{ sent, found, listed, right, exact int }

func (s *score) add(o score) {
	s.sent, s.found, s.listed, s.right, s.exact = s.sent+o.sent, s.found+o.found, s.listed+o.listed, s.right+o.right, s.exact+o.exact
}

func (s score) recall() float64    { return float64(s.found) / float64(s.sent) }
func (s score) precision() float64 { return float64(s.right) / float64(s.listed) }

func judgeFields(sent [][]byte, fields []Field, truths []truth) (sc score, missed []truth, wrong []Field) {
	listed := map[int]bool{}
	for _, tr := range truths {
		want := series(sent, tr.at, tr.form, tr.big)
		if len(slices.Compact(slices.Sorted(slices.Values(want)))) < 2 {
			continue // a field that never changed cannot be told from a constant
		}
		sc.sent++
		hit := false
		for i, f := range fields {
			if f.Is == Constant || f.Is == Noise || f.Is == Text {
				continue
			}
			if nearlyAll(want, series(sent, f.At, formOf(f.Type), f.Big)) {
				listed[i] = true // two fields may say the same all the time
				hit = true
				if f.At == tr.at && f.Size == tr.form.size && f.Big == (tr.big && f.Size > 1) {
					sc.exact++
				}
			}
		}
		if hit {
			sc.found++
		} else {
			missed = append(missed, tr)
		}
	}
	for i, f := range fields {
		if f.Is == Constant || f.Is == Noise || f.Is == Text {
			continue
		}
		sc.listed++
		if listed[i] {
			sc.right++
		} else {
			wrong = append(wrong, f)
		}
	}
	return sc, missed, wrong
}

// The truth is configs/feeds/demo.yaml, by which the bytes were made: places, types and byte order.
func TestFieldsOfTheDemo(t *testing.T) {
	u8, u16, i16, u32, f32 := formOf("u8"), formOf("u16"), formOf("i16"), formOf("u32"), formOf("f32")
	motion := []truth{{6, u16, false}, {8, u32, false}, {12, f32, false}, {16, u16, false}, {18, formOf("i8"), false}, {19, u8, false}}
	for at := 20; at < 40; at += 2 {
		motion = append(motion, truth{at, i16, false})
	}
	motion = append(motion, truth{40, f32, false}, truth{44, f32, false}, truth{48, f32, false}, truth{52, u32, false})
	condition := []truth{{6, u16, false}, {8, u32, false}, {44, u32, false}, {48, i16, false}, {50, i16, false}, {52, u16, false}}
	for at := 12; at < 44; at += 8 {
		condition = append(condition, truth{at, i16, false}, truth{at + 2, i16, false}, truth{at + 4, i16, false}, truth{at + 6, u16, false})
	}
	for _, listen := range [][2]float64{{20, 30}, {20, 60}, {0, 300}} {
		var s Sniffer
		bySize := map[int][][]byte{}
		demoBytes(t, func(p []byte, at float64) {
			if at >= listen[0] && at < listen[1] {
				s.Datagram(p, at)
				bySize[len(p)] = append(bySize[len(p)], p)
			}
		})
		l := s.Layout()
		require.False(t, l.Big)
		require.Equal(t, "d6 c1 4e 7b", l.Magic)
		require.Len(t, l.Kinds, 3)
		var sum score
		for i, truths := range [][]truth{condition, motion, nil} {
			k := l.Kinds[i]
			require.Equal(t, []int{56, 58, 62}[i], k.Size)
			if truths == nil {
				continue
			}
			require.InEpsilon(t, []float64{10, 60, 2}[i], k.Rate, 0.02)
			sc, missed, wrong := judgeFields(bySize[k.Size], k.Fields, truths)
			t.Logf("%v s, %d bytes: recall %.2f, precision %.2f, %d exact of %d; missed %v, wrong %v", listen, k.Size, sc.recall(), sc.precision(), sc.exact, sc.sent, missed, wrong)
			sum.add(sc)
		}
		require.GreaterOrEqual(t, sum.recall(), 0.8)
		require.GreaterOrEqual(t, sum.precision(), 0.8)
	}
}

// wave is a reading that moves as measured ones do: two slow waves, a little noise, now and then a step.
func wave(tt *rapid.T, r *rand.Rand, n int) []float64 {
	p1, p2 := 1.5+18*r.Float64(), 1+8*r.Float64()
	noise := []float64{0, 0, 0.001, 0.01}[rapid.IntRange(0, 3).Draw(tt, "noise")]
	f1, f2 := r.Float64()*6, r.Float64()*6
	out := make([]float64, n)
	for i := range out {
		at := float64(i) / 60
		out[i] = 0.6*math.Sin(f1+2*math.Pi*at/p1) + 0.3*math.Sin(f2+2*math.Pi*at/p2) + noise*r.NormFloat64()
	}
	return out
}

func put(p []byte, f form, big bool, v float64) {
	var u uint64
	switch {
	case f.float && f.size == 4:
		u = uint64(math.Float32bits(float32(v)))
	case f.float:
		u = math.Float64bits(v)
	case f.signed:
		u = uint64(int64(v))
	default:
		u = uint64(v)
	}
	for i := range f.size {
		at := i
		if big {
			at = f.size - 1 - i
		}
		p[at] = byte(u >> (8 * i))
	}
}

// Layouts made at random, in one byte order each: most of their fields are found, and most of what is listed is one.
func TestFieldsOfRandomLayouts(t *testing.T) {
	var sum score
	layouts, orders := 0, 0
	rapid.Check(t, func(tt *rapid.T) {
		if layouts >= 40 {
			return
		}
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(tt, "seed"), 1))
		big := rapid.Bool().Draw(tt, "big")
		n := rapid.IntRange(300, 900).Draw(tt, "datagrams")
		var truths []truth
		var waves [][]float64
		size := rapid.IntRange(0, 6).Draw(tt, "header")
		begin := size
		for range rapid.IntRange(3, 16).Draw(tt, "fields") {
			f := forms[rapid.IntRange(0, len(forms)-1).Draw(tt, "form")]
			w := wave(tt, r, n)
			for i := range w {
				most := math.Exp2(float64(8*f.size-1)) - 1
				if f.size == 4 {
					most = 2e6
				}
				switch {
				case f.float:
					w[i] = w[i]*200 + 50
				case f.signed:
					w[i] = math.Round(w[i] * most * 0.9)
				default:
					w[i] = math.Round((w[i] + 1) * most * 0.9)
				}
			}
			truths, waves = append(truths, truth{size, f, big}), append(waves, w)
			size += f.size
			size += []int{0, 0, 0, 1, 3}[rapid.IntRange(0, 4).Draw(tt, "gap")]
		}
		var s Sniffer
		var sent [][]byte
		for i := range n {
			p := make([]byte, size+2)
			for b := range begin {
				p[b] = byte(0xA0 + b)
			}
			for k, tr := range truths {
				put(p[tr.at:], tr.form, big, waves[k][i])
			}
			p[size], p[size+1] = byte(r.Uint32()), byte(r.Uint32()) // a checksum
			s.Datagram(p, float64(i)/60)
			sent = append(sent, p)
		}
		l := s.Layout()
		require.Len(tt, l.Kinds, 1)
		layouts++
		if l.Big == big {
			orders++
		}
		sc, _, _ := judgeFields(sent, l.Kinds[0].Fields, truths)
		sum.add(sc)
	})
	t.Logf("%d layouts, byte order right in %d; recall %.3f, precision %.3f, %d exact of %d", layouts, orders, sum.recall(), sum.precision(), sum.exact, sum.sent)
	require.GreaterOrEqual(t, sum.recall(), 0.75)
	require.GreaterOrEqual(t, sum.precision(), 0.75)
	require.GreaterOrEqual(t, float64(orders), 0.85*float64(layouts))
}

// In noise there is nothing to be found.
func TestNoFieldsInNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	listed := 0
	for range 20 {
		var s Sniffer
		for i := range 200 {
			p := make([]byte, 64)
			for k := range p {
				p[k] = byte(r.Uint32())
			}
			s.Datagram(p, float64(i)/60)
		}
		for _, f := range s.Layout().Kinds[0].Fields {
			if f.Is != Noise {
				listed++
			}
		}
	}
	require.Zero(t, listed, "of 1280 bytes of noise")
}

// Kinds of one size are told apart by their discriminator.
func TestKindsOfOneSize(t *testing.T) {
	var s Sniffer
	for i := range 600 {
		p := make([]byte, 16)
		p[0], p[1], p[2] = 0xEE, 0x11, byte(1+i%2)
		if i%2 == 0 {
			put(p[4:], formOf("f32"), false, 40+20*math.Sin(float64(i)/60))
		} else {
			put(p[8:], formOf("u16"), false, math.Round(9000+3000*math.Sin(float64(i)/90)))
		}
		s.Datagram(p, float64(i)/120)
	}
	l := s.Layout()
	require.Len(t, l.Kinds, 2)
	require.Equal(t, &Match{2, 1}, l.Kinds[0].Match)
	require.Equal(t, &Match{2, 2}, l.Kinds[1].Match)
	require.InEpsilon(t, 60, l.Kinds[0].Rate, 0.02)
	require.True(t, slices.ContainsFunc(l.Kinds[0].Fields, func(f Field) bool { return f.At == 4 && f.Type == "f32" }), l.Kinds[0].Fields)
	require.True(t, slices.ContainsFunc(l.Kinds[1].Fields, func(f Field) bool { return f.At == 8 && f.Type == "u16" }), l.Kinds[1].Fields)
}
