package course

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// A Known is a saved course of which only the beginning of the file has been read: enough to rule it out. A folder may
// hold hundreds, and a start must not wait for them. It is never changed.
type Known struct {
	Name    string
	Length  float64 // m
	Laps    int
	Feed    string
	Car     string
	Updated string

	box    [4]float64 // m: least x and y, greatest x and y
	loc    Locator
	placed bool
	from   string
	data   []byte
}

// Glance reads the beginning of a saved course. Errors name from and wrap ErrSaved. data is kept.
func Glance(from string, data []byte) (*Known, error) {
	var f savedFile
	if err := f.glance(data); err != nil {
		return nil, fmt.Errorf("%s: %w: %v (remove the file: the course is learned anew)", from, ErrSaved, err)
	}
	if err := f.wrong(from, f.checkHead); err != nil {
		return nil, err
	}
	k := &Known{
		Name: f.Name, Length: float64(f.Length), Laps: f.Laps, Feed: f.Feed, Car: f.Car, Updated: f.Updated,
		loc: f.Plane.locator(), placed: f.Plane.Kind != reckoned, from: from, data: data,
	}
	for i, v := range f.Box {
		k.box[i] = float64(v)
	}
	return k, nil
}

// glance reads the fields that Encode writes before the corners and the line; where they stand elsewhere, it reads all.
func (f *savedFile) glance(data []byte) error {
	d := json.NewDecoder(bytes.NewReader(data))
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return fmt.Errorf("it is not a JSON object")
	}
	into := map[string]any{
		"format": &f.Format, "version": &f.Version, "name": &f.Name, "updated": &f.Updated, "feed": &f.Feed,
		"car":  &f.Car,
		"laps": &f.Laps, "length": &f.Length, "plane": &f.Plane, "box": &f.Box,
	}
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return err
		}
		key, _ := t.(string)
		field, ok := into[key]
		if !ok {
			break
		}
		if err := d.Decode(field); err != nil {
			return fmt.Errorf("%s: %v", key, err)
		}
	}
	if f.Format != "" && f.Version != 0 && f.Name != "" && f.Length != 0 && f.Plane.Kind != "" && f.Box != [4]fixed{} {
		return nil
	}
	return json.Unmarshal(data, f)
}

// Saved reads all of the file.
func (k *Known) Saved() (Saved, error) { return DecodeSaved(k.from, k.data) }

// Data is the file as it was given to Glance.
func (k *Known) Data() []byte { return k.data }
