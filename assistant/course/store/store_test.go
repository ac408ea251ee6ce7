package store

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/course"
)

// ring is a course that a car has driven: a circle of that radius, passed anticlockwise from the east.
func ring(t testing.TB, radius float64) *course.Map {
	t.Helper()
	set := channel.NewSet()
	row := set.NewRow()
	l := course.NewLearner(nil)
	around := 2 * math.Pi * radius
	for i, d := 0, 0.0; d < 2*around; i, d = i+1, d+1 {
		row[channel.PositionX], row[channel.PositionY] = radius*math.Cos(d/radius), radius*math.Sin(d/radius)
		row[channel.Speed], row[channel.CoursePlace], row[channel.Lap] = 10, math.Mod(d, around), 1+math.Floor(d/around)
		if m := l.Step(float64(i)/10, row); m != nil {
			return m
		}
	}
	t.Fatal("the ring was not learned")
	return nil
}

func clock() time.Time { return time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC) }

func keep(t testing.TB, folder string, maps ...*course.Map) (told []string) {
	t.Helper()
	known, wrong := List(folder)
	require.Empty(t, wrong)
	k := NewKeeper(folder, known, "feed", "car", clock)
	for _, m := range maps {
		e, fresh, err := k.Keep(m)
		told = append(told, fmt.Sprintf("%s %v %v", e.Name, fresh, err))
	}
	return told
}

func names(t testing.TB, folder string) (list []string) {
	t.Helper()
	all, wrong := List(folder)
	require.Empty(t, wrong)
	for _, e := range all {
		list = append(list, filepath.Base(e.Path)+"="+e.Name)
	}
	return list
}

func TestKeeperNamesAndBetters(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "deep", "courses")
	a, b := ring(t, 100), ring(t, 200)
	better := *a
	better.Laps = 7
	require.Equal(t, []string{"course 628 m true <nil>", "course 628 m false <nil>", "course 1257 m true <nil>"},
		keep(t, folder, a, &better, b))
	require.Equal(t, []string{"course-1257-m.json=course 1257 m", "course-628-m.json=course 628 m"}, names(t, folder))

	// The next session: recognised, it goes on under its name, which the user may have changed.
	_, err := Rename(folder, "COURSE 628 M", "Tin Plate")
	require.NoError(t, err)
	e, err := Find(folder, "tin plate")
	require.NoError(t, err)
	require.Equal(t, 7, e.Laps)
	require.Equal(t, "2031-05-04T12:00:00Z", e.Updated)
	again, err := e.Saved()
	require.NoError(t, err)
	again.Map.Laps = 9
	require.Equal(t, []string{"Tin Plate false <nil>"}, keep(t, folder, again.Map))
	// Another course of the same name does not take its place, nor does one of the same length.
	other := ring(t, 150)
	other.Name = "Tin Plate"
	require.Equal(t, []string{"Tin Plate 2 true <nil>", "course 628 m true <nil>"}, keep(t, folder, other, ring(t, 100.001)))
	require.Equal(t, []string{"course 628 m 2 true <nil>"}, keep(t, folder, ring(t, 99.99)))
	require.Equal(t, []string{"tin-plate.json=Tin Plate", "tin-plate-2.json=Tin Plate 2", "course-1257-m.json=course 1257 m",
		"course-628-m.json=course 628 m", "course-628-m-2.json=course 628 m 2"},
		sortedBy(names(t, folder), "tin-plate.json", "tin-plate-2.json", "course-1257", "course-628-m.json", "course-628-m-2"))
	e, err = Find(folder, "Tin Plate")
	require.NoError(t, err)
	require.Equal(t, 9, e.Laps)
}

func sortedBy(list []string, order ...string) (out []string) {
	for _, o := range order {
		for _, s := range list {
			if strings.HasPrefix(s, o) {
				out = append(out, s)
			}
		}
	}
	return out
}

func TestRenameAndForgetTellWhatIsWrong(t *testing.T) {
	folder := t.TempDir()
	_, err := Find(folder, "Mill")
	require.ErrorIs(t, err, ErrNoCourse)
	require.ErrorContains(t, err, "none is saved in "+folder)
	keep(t, folder, ring(t, 100), ring(t, 200))
	_, err = Rename(folder, "Mill", "Weir")
	require.ErrorIs(t, err, ErrNoCourse)
	require.ErrorContains(t, err, "there are: course 1257 m, course 628 m")
	_, err = Rename(folder, "course 628 m", "course 1257 m")
	require.ErrorIs(t, err, ErrTaken)
	_, err = Rename(folder, "course 628 m", " \n")
	require.ErrorContains(t, err, "cannot be called")
	_, err = Rename(folder, "course 628 m", "../../Überholverbot")
	require.NoError(t, err)
	require.Equal(t, []string{"berholverbot.json=../../Überholverbot", "course-1257-m.json=course 1257 m"}, names(t, folder))
	_, err = Forget(folder, "../../überholverbot")
	require.NoError(t, err)
	_, err = Forget(folder, "../../überholverbot")
	require.ErrorIs(t, err, ErrNoCourse)
}

// A file that is torn or foreign does not keep the others from being read, and half-written ones are not looked at.
func TestListPassesDamageOver(t *testing.T) {
	folder := t.TempDir()
	keep(t, folder, ring(t, 100))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "torn.json"), []byte(`{"format": "earsh`), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "mill.json.1.part"), []byte(`{`), 0o600))
	all, wrong := List(folder)
	require.Len(t, all, 1)
	require.Len(t, wrong, 1)
	require.ErrorIs(t, wrong[0], course.ErrSaved)
	require.ErrorContains(t, wrong[0], "torn.json")
}

func TestKeeperTellsAFullOrForbiddenFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, _, err := NewKeeper(filepath.Join(file, "below"), nil, "", "", clock).Keep(ring(t, 100))
	require.ErrorContains(t, err, "saving")
}

// BenchmarkList reads a folder of 300 courses of 4 km.
func BenchmarkList(b *testing.B) {
	folder := b.TempDir()
	m := ring(b, 4000/2/math.Pi)
	for i := range 300 {
		n := *m
		n.Name = fmt.Sprintf("course %d", i)
		path, err := free(folder, n.Name, "")
		require.NoError(b, err)
		_, err = write(path, course.Saved{Map: &n})
		require.NoError(b, err)
	}
	b.ResetTimer()
	for b.Loop() {
		all, wrong := List(folder)
		require.Len(b, all, 300)
		require.Empty(b, wrong)
	}
}
