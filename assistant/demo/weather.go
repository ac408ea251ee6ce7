package demo

import (
	"fmt"
	"math"
)

// Weather of the demo where the Options say nothing else. The air is dry: density by the ideal gas law.
const (
	airTemperature  = 24.0  // °C
	roadTemperature = 34.0  // °C
	airPressure     = 100.8 // kPa
)

// Weather says how the day goes. The zero value is steady and dry.
type Weather struct {
	AirDrift  float64  `json:"air_drift"`  // K an hour
	RoadDrift float64  `json:"road_drift"` // K an hour
	Cloud     float64  `json:"cloud"`      // K by which sun and cloud move the road up and down, in seeded slow waves
	Rain      []Shower `json:"rain,omitempty"`
}

// A Shower is rain between two times.
type Shower struct {
	From   float64 `json:"from"` // s on the clock of the samples
	To     float64 `json:"to"`
	Amount float64 `json:"amount"` // 0 to 1: how wet it makes the road in the end
}

func (w *Weather) validate(bad func(option, msg, hint string)) {
	within := func(name string, x, lo, hi float64) {
		if !(x >= lo && x <= hi) {
			bad("Weather."+name, fmt.Sprintf("%g", x), fmt.Sprintf("use %g to %g", lo, hi))
		}
	}
	within("AirDrift", w.AirDrift, -10, 10)
	within("RoadDrift", w.RoadDrift, -20, 20)
	within("Cloud", w.Cloud, 0, 10)
	for i, r := range w.Rain {
		if !(r.From >= 0 && r.To > r.From) {
			bad(fmt.Sprintf("Weather.Rain[%d]", i), fmt.Sprintf("a shower from %g to %g s", r.From, r.To),
				"use a beginning of 0 or more and a later end")
		}
		within(fmt.Sprintf("Rain[%d].Amount", i), r.Amount, 0, 1)
	}
}

// A sky is the weather of one moment.
type sky struct {
	air, road float64 // °C
	wet       float64 // 0 dry to 1 standing water
	phase     float64
}

// Times in which a road gets wet, dries and changes its temperature; chosen, no source.
const (
	wetting = 120.0  // s
	drying  = 900.0  // s
	soaking = 240.0  // s
	clouds  = 1500.0 // s: period of sun and cloud
)

func (k *sky) begin(seed uint64) {
	k.air, k.road, k.phase = airTemperature, roadTemperature, 2*math.Pi*unit(hash(seed, 21, 0))
}

// advance moves the weather on to time t. Water takes most of the sun's warmth out of the road.
func (k *sky) advance(w *Weather, t, dt float64) {
	rain := 0.0
	for _, r := range w.Rain {
		if t >= r.From && t < r.To {
			rain = max(rain, r.Amount)
		}
	}
	tau := drying
	if rain > k.wet {
		tau = wetting
	}
	k.wet += (rain - k.wet) * dt / tau
	k.air = airTemperature + w.AirDrift*t/3600 - 3*k.wet
	sun := roadTemperature - airTemperature + (w.RoadDrift-w.AirDrift)*t/3600
	if w.Cloud != 0 {
		sun += w.Cloud * (math.Sin(2*math.Pi*t/clouds+k.phase) - math.Sin(k.phase))
	}
	k.road += (k.air + sun*(1-0.9*k.wet) - k.road) * dt / soaking
}

// grip is what water leaves of the grip of a compound. Slicks are the quickest until the road is about a third of the
// way to standing water, wet tyres beyond (common practice, no source).
func (k *sky) grip(compound int) float64 {
	switch compound {
	case intermediate:
		return 0.955 - 0.20*k.wet
	case wetTyre:
		return 0.92 - 0.12*k.wet
	}
	return 1 - 0.38*k.wet
}

// cooling is the factor by which water takes more heat out of the tread than a dry road; chosen, no source.
func (k *sky) cooling() float64 { return 1 + 2.5*k.wet }
