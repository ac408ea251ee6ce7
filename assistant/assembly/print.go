package assembly

import (
	"fmt"
	"io"
	"math"
)

// PrintLine writes what is said, by whom or how urgent, where and when.
func PrintLine(w io.Writer, at float64, lapNumber int, metres float64, who, text string) {
	lap, place := "-", "-"
	switch {
	case lapNumber == 0:
		lap = "out"
	case lapNumber > 0:
		lap = fmt.Sprint(lapNumber)
	}
	if !math.IsNaN(metres) {
		place = fmt.Sprintf("%.0f m", metres)
	}
	fmt.Fprintf(w, "%8s  lap %-3s  %7s  %-8s  %s\n", Clock(at), lap, place, who, text)
}

// Clock writes seconds as M:SS.s.
func Clock(seconds float64) string {
	tenths := int(math.Round(seconds * 10))
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}
