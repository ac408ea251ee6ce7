package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/course"
	"earshot/assistant/course/drawing"
	"earshot/assistant/course/store"
	"earshot/assistant/journal"
	"earshot/assistant/session"
)

func newCourse() *cobra.Command {
	c := &cobra.Command{
		Use:   "course",
		Short: "list, draw, name and forget the courses that were learned",
		Long: `Run saves each course that it learns and recognises it the next time. Corner numbers, braking points
and room to talk are then there on the out-lap. A course is recognised by its place, where the feed has a position,
else by its shape over half a lap. In doubt it is learned anew.`,
		Example: "  earshot course list\n  earshot course show \"course 3337 m\" --out course.svg",
		Args:    cobra.NoArgs,
		RunE:    func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.PersistentFlags().String("courses", "", "folder of the saved courses (default: the user's state folder)")
	c.AddCommand(newCourseList(), newCourseShow(), newCourseName(), newCourseForget())
	for _, sub := range c.Commands() {
		wrapUse(sub)
	}
	return c
}

// courseFolder is the folder that a course command works on.
func courseFolder(c *cobra.Command, r assembly.Request) (string, error) {
	folder, err := r.CoursesFolder()
	if err == nil && folder == "" {
		err = usage(c, "there is no folder of courses: courses is none")
	}
	return folder, err
}

// A listedCourse is a saved course as --json writes it.
type listedCourse struct {
	Name    string  `json:"name"`
	Length  float64 `json:"length"` // m
	Corners int     `json:"corners"`
	Laps    int     `json:"laps"`
	Feed    string  `json:"feed,omitempty"`
	Car     string  `json:"car,omitempty"`
	Updated string  `json:"updated,omitempty"`
	Path    string  `json:"path"`
}

func newCourseList() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:     "list",
		Short:   "list the saved courses",
		Example: "  earshot course list --json",
		Args:    cobra.NoArgs,
	}
	c.Flags().BoolVar(&asJSON, "json", false, "for programs")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, _ []string) error {
		folder, err := courseFolder(c, r)
		if err != nil {
			return err
		}
		all, wrong := store.List(folder)
		list := []listedCourse{}
		for _, e := range all {
			s, err := e.Saved()
			if err != nil {
				wrong = append(wrong, err)
				continue
			}
			list = append(list, listedCourse{e.Name, math.Round(e.Length*10) / 10, len(s.Map.Corners), e.Laps, e.Feed,
				e.Car, e.Updated, e.Path})
		}
		for _, w := range wrong {
			r.Tell(w.Error())
		}
		if asJSON {
			return writeJSON(c.OutOrStdout(), list)
		}
		if len(list) == 0 {
			fmt.Fprintf(c.OutOrStdout(), "no courses in %s yet: earshot run saves what it learns\n", folder)
			return nil
		}
		rows := [][]string{{"course", "metres", "corners", "laps", "car", "feed", "driven last"}}
		for _, l := range list {
			rows = append(rows, []string{l.Name, fmt.Sprintf("%.0f", l.Length), fmt.Sprint(l.Corners),
				fmt.Sprint(l.Laps), l.Car, l.Feed, l.Updated})
		}
		table(c.OutOrStdout(), rows)
		return nil
	})
	return c
}

func newCourseName() *cobra.Command {
	return &cobra.Command{
		Use:     "name OLD NEW",
		Short:   "give a saved course another name; the best laps go with it",
		Example: "  earshot course name \"course 3337 m\" \"Thimble Ring\"",
		Args:    cobra.ExactArgs(2),
		RunE: configured(func(c *cobra.Command, r assembly.Request, args []string) error {
			folder, err := courseFolder(c, r)
			if err != nil {
				return err
			}
			old, err := store.Find(folder, args[0])
			if err != nil {
				return err
			}
			e, err := store.Rename(folder, args[0], args[1])
			if err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "%s is called %s now: %s\n", old.Name, e.Name, e.Path)
			return r.RenameBests(old.Name, e.Name)
		}),
	}
}

func newCourseForget() *cobra.Command {
	return &cobra.Command{
		Use:     "forget NAME",
		Short:   "remove a saved course; it is learned anew when it is driven again",
		Example: "  earshot course forget \"course 3337 m\"",
		Args:    cobra.ExactArgs(1),
		RunE: configured(func(c *cobra.Command, r assembly.Request, args []string) error {
			folder, err := courseFolder(c, r)
			if err != nil {
				return err
			}
			e, err := store.Forget(folder, args[0])
			if err != nil {
				return err
			}
			fmt.Fprintf(c.OutOrStdout(), "forgotten: %s (%s)\n", e.Name, e.Path)
			return nil
		}),
	}
}

func newCourseShow() *cobra.Command {
	var out, ref string
	var asJSON, dark bool
	c := &cobra.Command{
		Use:   "show [NAME | FILE]",
		Short: "tell a course's corners, and draw it",
		Long: `Show prints the corners of a course. With --out it draws them: start line and direction, corner
numbers, the longer straights, where braking begins, where the car turns in, and by colour the room to talk.

NAME is a saved course (earshot course list). FILE is the file of a saved course (.json), a recording (.mcap), or a log
that --feed describes; from the last two the course is learned first. --session takes the course from a session's
recording or, beside NAME or FILE, the marks of that session.`,
		Example: `  earshot course show "Thimble Ring" --out ring.svg
  earshot course show --session last --out today.png
  earshot course show log.csv --feed myfeed.yaml --out log.svg`,
		Args: cobra.MaximumNArgs(1),
	}
	addFileFlags(c)
	c.Flags().StringVar(&out, "out", "", "picture to write: FILE.svg or FILE.png")
	c.Flags().StringVar(&ref, "session", "", "a session, or last: its marks are drawn")
	addSessionsFlag(c, "folder of the sessions")
	c.Flags().BoolVar(&dark, "dark", false, "a PNG for a dark page; an SVG suits both")
	c.Flags().BoolVar(&asJSON, "json", false, "print the saved form, for programs")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, args []string) error {
		if len(args) == 0 && ref == "" {
			return usage(c, "name a saved course, a file or --session")
		}
		draw := map[string]func(io.Writer, *course.Map, drawing.Options) error{"": nil, ".svg": drawing.SVG,
			".png": drawing.PNG}
		write, ok := draw[strings.ToLower(filepath.Ext(out))]
		if !ok || out != "" && write == nil {
			return usage(c, "--out %s: write FILE.svg or FILE.png", out)
		}
		root, err := r.SessionsFolder()
		if err != nil {
			return err
		}
		o := drawing.Options{Dark: dark}
		name := ""
		if len(args) == 1 {
			name = args[0]
		}
		if ref != "" {
			dir, err := session.Find(root, ref)
			if dir == nil {
				return err
			}
			if name == "" {
				name = dir.Recording()
			}
			if o.Marks, err = marksOf(dir.Journal()); err != nil {
				return err
			}
		}
		m, err := findCourse(c, r, name)
		if err != nil {
			return err
		}
		if o.Places, err = pitPlaces(r); err != nil {
			return err
		}
		if out != "" {
			var b bytes.Buffer
			if err := write(&b, m, o); err != nil {
				return err
			}
			if err := os.WriteFile(out, b.Bytes(), 0o644); err != nil {
				return fmt.Errorf("the picture: %w", err)
			}
		}
		if asJSON {
			b, err := course.Saved{Map: m}.Encode()
			if err != nil {
				return err
			}
			_, err = c.OutOrStdout().Write(b)
			return err
		}
		printCourse(c.OutOrStdout(), m)
		if out != "" {
			fmt.Fprintf(c.OutOrStdout(), "\npicture: %s\n", out)
		}
		return nil
	})
	return c
}

var fileLike = regexp.MustCompile(`\.[A-Za-z]{2,5}$`)

// findCourse returns the course that name means.
func findCourse(c *cobra.Command, r assembly.Request, name string) (*course.Map, error) {
	if _, err := os.Stat(name); err != nil { // a name may look like a path
		folder, err := r.CoursesFolder()
		if err != nil {
			return nil, err
		}
		e, err := store.Find(folder, name)
		if err == nil {
			s, err := e.Saved()
			return s.Map, err
		}
		if !strings.ContainsAny(name, `/\`) && !fileLike.MatchString(name) {
			return nil, err
		}
	}
	if strings.HasSuffix(name, ".json") {
		e, err := store.Read(name)
		if err != nil {
			return nil, err
		}
		s, err := e.Saved()
		return s.Map, err
	}
	d, err := assembly.Open(c.Context(), r, []string{name})
	if err != nil {
		return nil, err
	}
	defer d.Close()
	core, err := d.Replay(c.Context(), assembly.Playback{})
	if err != nil {
		return nil, err
	}
	m := core.Course()
	if m == nil {
		return nil, fmt.Errorf("%s: no course was learned: that takes a whole lap from line to line with a "+
			"position, or with speed and yaw rate", name)
	}
	return m, nil
}

// pitPlaces are the ends of a pit lane that the course file gives by distance.
func pitPlaces(r assembly.Request) ([]drawing.Mark, error) {
	if r.Course == "" {
		return nil, nil
	}
	data, shown, err := assembly.Courses.Read(r.Course)
	if err != nil {
		return nil, err
	}
	f, err := course.ParseFile(shown, data)
	if err != nil || f.Pit.EntryAt == 0 {
		return nil, err
	}
	return []drawing.Mark{{Distance: f.Pit.EntryAt, Text: "pit entry"}, {Distance: f.Pit.ExitAt, Text: "pit exit"}}, nil
}

// marksOf reads the marks of a journal that have a place.
func marksOf(path string) ([]drawing.Mark, error) {
	events, err := assembly.ReadJournal(path)
	if err != nil && len(events) == 0 {
		return nil, err
	}
	var marks []drawing.Mark
	for _, e := range events {
		if k, ok := e.Body.(*journal.Mark); ok && !e.Distance.IsZero() {
			marks = append(marks, drawing.Mark{Distance: float64(e.Distance), Text: fmt.Sprintf("mark %d", k.Number)})
		}
	}
	return marks, nil
}

func printCourse(w io.Writer, m *course.Map) {
	name := m.Name
	if name == "" {
		name = "course"
	}
	fmt.Fprintf(w, "%s: %.0f m, %d corners, braking points of %d laps\n\n", name, m.Length, len(m.Corners), m.Laps)
	metres := func(v float64) string {
		if math.IsNaN(v) {
			return "–"
		}
		return fmt.Sprintf("%.0f m", v)
	}
	rows := [][]string{{"corner", "", "", "kind", "entry", "apex", "exit", "radius", "turns", "braking", "turn-in",
		"slowest"}}
	for _, k := range m.Corners {
		slowest := "–"
		if !math.IsNaN(k.MinSpeed) {
			slowest = fmt.Sprintf("%.0f km/h", k.MinSpeed*3.6)
		}
		rows = append(rows, []string{fmt.Sprint(k.Number), k.Name, k.Hand.String(), string(k.Kind), metres(k.Entry),
			metres(k.Apex), metres(k.Exit), metres(k.Radius),
			fmt.Sprintf("%.0f°", k.Angle*180/math.Pi), metres(k.Braking), metres(k.TurnIn), slowest})
	}
	table(w, rows)
	if len(m.Straights) > 0 {
		var list []string
		for _, s := range m.Straights {
			list = append(list, fmt.Sprintf("%.0f m from %.0f m on", s.Length, s.From))
		}
		fmt.Fprintf(w, "\nstraights: %s\n", strings.Join(list, "; "))
	}
	if len(m.Z) > 0 {
		fmt.Fprintf(w, "heights: %.1f m between the lowest and the highest place\n", slices.Max(m.Z)-slices.Min(m.Z))
	}
}
