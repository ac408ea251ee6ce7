package assembly

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/journal"
)

// Every number in the tables of laps, marks and corners has a unit, or is known to have none.
func TestEveryEventNumberHasAUnit(t *testing.T) {
	for _, body := range []journal.Body{journal.NewLap(), journal.NewMark(), journal.NewCorner()} {
		bt := reflect.TypeOf(body).Elem()
		for i := range bt.NumField() {
			name, _, _ := strings.Cut(bt.Field(i).Tag.Get("json"), ",")
			switch bt.Field(i).Type {
			case reflect.TypeFor[journal.Num](), reflect.TypeFor[journal.Wheels](), reflect.TypeFor[[]journal.Num]():
				require.Contains(t, quantityOf, name, "%s.%s", body.Kind(), name)
			}
		}
	}
}

// What the driver said or typed never becomes a formula in a spreadsheet; numbers stay numbers.
func TestTextsAreNoFormulas(t *testing.T) {
	for _, memo := range []string{"=1+1", "+1", "-2 clicks", "@SUM(A1)", "\t=1", "rear loose"} {
		var b bytes.Buffer
		table := newEventTable(&b, "marks", false, Defaults())
		mark := journal.NewMark()
		mark.Memo, mark.Balance = memo, -0.25
		require.NoError(t, table.event(journal.Event{T: -3, Lap: 1, Body: mark}))
		rows, err := csv.NewReader(&b).ReadAll()
		require.NoError(t, err)
		cell := func(name string) string { return rows[2][slices.Index(rows[0], name)] }
		require.Equal(t, []string{"-3", "-0.25"}, []string{cell("t"), cell("balance")})
		if memo != "rear loose" {
			memo = "'" + memo
		}
		require.Equal(t, memo, cell("memo"))
	}
}

// Exporting hours takes the memory of minutes: what is alive after the first part is about what is alive at the end.
func TestExportStreams(t *testing.T) {
	for _, format := range []string{"csv", "parquet"} {
		columns := make([]column, 40)
		for i := range columns {
			columns[i].name = fmt.Sprint("c", i)
		}
		var to sampleTable = newCSVTable(io.Discard, columns)
		if format == "parquet" {
			to = newParquetTable(io.Discard, columns)
		}
		values := make([]float64, len(columns))
		alive := func() int64 {
			var m runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&m)
			return int64(m.HeapAlloc)
		}
		var early int64
		for n := range 5 * rowsPerGroup {
			for i := range values {
				values[i] = float64(n*i) * 1.1
			}
			require.NoError(t, to.row(float64(n)/60, values))
			if n == 2*rowsPerGroup {
				early = alive()
			}
		}
		late := alive()
		t.Logf("%s: %.1f MB after 2 row groups, %.1f after 5", format, float64(early)/1e6, float64(late)/1e6)
		require.Less(t, late-early, int64(8<<20))
		require.NoError(t, to.close())
	}
}
