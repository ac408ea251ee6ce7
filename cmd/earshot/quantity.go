package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/channel"
)

// A quantity is a flag for a number with its unit. A time may be written with colons too: 1:42.4 or 2:40:00.
type quantity struct {
	of   channel.Quantity
	x    float64 // in the unit used inside; NaN where it is not given
	unit channel.Unit
	text string
}

// quantityFlag adds a flag to c.
func quantityFlag(c *cobra.Command, name string, of channel.Quantity, about string) *quantity {
	q := &quantity{of: of, x: math.NaN()}
	c.Flags().Var(q, name, about)
	return q
}

func (q *quantity) String() string { return q.text }
func (q *quantity) Type() string   { return strings.ReplaceAll(string(q.of), " ", "-") }

func (q *quantity) Set(text string) (err error) {
	q.text = text
	if q.of == channel.Time && strings.Contains(text, ":") {
		q.x = 0
		for part := range strings.SplitSeq(text, ":") {
			n, err := strconv.ParseFloat(part, 64)
			if err != nil || n < 0 {
				return fmt.Errorf("%q is no time: write for example 1:42.4 or 45 min", text)
			}
			q.x = 60*q.x + n
		}
		return nil
	}
	q.x, q.unit, err = channel.ParseUnit(text, q.of)
	return err
}

// A wheelsQuantity is a flag for one number for all wheels, or for one by axle, side or wheel: "19 psi" or "front=19
// psi,rr=18.5 psi".
type wheelsQuantity struct {
	quantity
	by [4]float64
}

var wheelSets = map[string][]int{
	"fl": {0}, "fr": {1}, "rl": {2}, "rr": {3}, "front": {0, 1}, "rear": {2, 3}, "left": {0, 2}, "right": {1, 3},
}

func wheelsFlag(c *cobra.Command, name, about string) *wheelsQuantity {
	nan := math.NaN()
	q := &wheelsQuantity{quantity{of: channel.Pressure, x: nan}, [4]float64{nan, nan, nan, nan}}
	c.Flags().Var(q, name, about)
	return q
}

func (q *wheelsQuantity) Set(text string) error {
	for part := range strings.SplitSeq(text, ",") {
		name, value, ok := strings.Cut(part, "=")
		wheels := []int{0, 1, 2, 3}
		if !ok {
			value = name
		} else if wheels = wheelSets[strings.TrimSpace(name)]; wheels == nil {
			return fmt.Errorf("%q is no wheel: write fl, fr, rl, rr, front, rear, left or right", name)
		}
		if err := q.quantity.Set(value); err != nil {
			return err
		}
		for _, w := range wheels {
			q.by[w] = q.x
		}
	}
	q.text = text
	return nil
}

// given tells whether any wheel has a number.
func (q *wheelsQuantity) given() bool {
	return slices.ContainsFunc(q.by[:], func(x float64) bool { return x == x })
}

// over replaces the numbers that are given.
func (q *wheelsQuantity) over(to *[4]float64) {
	for w, x := range q.by {
		if x == x {
			to[w] = x
		}
	}
}

// inUnit writes x, in the unit used inside, in u with at most so many decimals.
func inUnit(x float64, u channel.Unit, decimals int) string {
	text := strconv.FormatFloat(u.Out(x), 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text + " " + u.Spelling
}
