package session

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"reflect"
	"strconv"
	"strings"

	"github.com/foxglove/mcap/go/mcap"

	"earshot/assistant/journal"
)

const (
	profile      = "earshot"
	topicPrefix  = "input/"
	journalTopic = "journal"
	encoding     = "earshot-input"
	eventFrame   = "" // the kind of an event in the queue; an input never has it
)

// Numbers of the schemas in every file.
const (
	inputSchema = 1
	eventSchema = 2
)

// layout is written into every recording, so that a stranger can read it without this program.
const layout = `Each message is one input, in the order of the sequence numbers. Integers and floats are little endian.
bytes 0-7   sequence number, unsigned, from 1; a gap is an input that was dropped
bytes 8-15  time in seconds, IEEE 754 binary64
then, on topic input/sample: two bytes, the number n of channels (their names are in the metadata record "channels", one a line, with their units in the same order);
ceil(n/8) bytes, a bitmap of the channels that had a reading, the first channel in the lowest bit; for each of them its reading, IEEE 754 binary64.
On any other input topic: the bytes of that input, which are JSON.
On topic journal: what was decided, as JSON; it is not an input and has no head.
Units: SI, but temperature in degrees Celsius, pressure in kilopascals (gauge), fuel in litres.
`

func schemas() []*mcap.Schema {
	return []*mcap.Schema{
		{ID: inputSchema, Name: "Input", Encoding: "text", Data: []byte(layout)},
		{ID: eventSchema, Name: "Event", Encoding: "jsonschema", Data: eventJSONSchema()},
	}
}

// topicOf describes the topic for a kind of input, or for events. A record beside the chunks has no checksum of
// its own in this format, and a wrong bit in a name would make one kind of input another: so it carries one.
func topicOf(id uint16, kind string) *mcap.Channel {
	c := &mcap.Channel{ID: id, SchemaID: inputSchema, Topic: topicPrefix + kind, MessageEncoding: encoding}
	if kind == eventFrame {
		c = &mcap.Channel{ID: id, SchemaID: eventSchema, Topic: journalTopic, MessageEncoding: "json"}
	}
	c.Metadata = map[string]string{"crc32": topicSum(c)}
	return c
}

func topicSum(c *mcap.Channel) string {
	return strconv.FormatUint(uint64(crc32.ChecksumIEEE([]byte(strconv.Itoa(int(c.ID))+" "+c.Topic))), 16)
}

// learnTopic takes a topic's number and kind from its record. Topics of others are passed over.
func learnTopic(topics map[uint16]string, record []byte) {
	c, err := parsed(mcap.ParseChannel, record)
	if err != nil {
		return
	}
	if sum, ok := c.Metadata["crc32"]; ok && sum != topicSum(c) {
		return
	}
	if kind, ok := strings.CutPrefix(c.Topic, topicPrefix); ok && kind != eventFrame {
		topics[c.ID] = kind
	} else if c.Topic == journalTopic {
		topics[c.ID] = eventFrame
	}
}

// eventJSONSchema describes a line of the journal (JSON Schema 2020-12). The fields of all kinds stand side by side,
// since viewers make columns of them; each tells which kinds have it.
func eventJSONSchema() []byte {
	type property struct {
		Type        any       `json:"type,omitempty"`
		Items       *property `json:"items,omitempty"`
		Description string    `json:"description,omitempty"`
	}
	var kinds []string
	properties := map[string]*property{
		"t":        {Type: "number", Description: "seconds on the feed's clock"},
		"kind":     {Type: "string"},
		"lap":      {Type: "integer", Description: "0 before the first lap begun at the line"},
		"distance": {Type: "number", Description: "metres from the line"},
	}
	number := &property{Type: []string{"number", "null"}}
	for _, body := range journal.Bodies() {
		kinds = append(kinds, body.Kind())
		t := reflect.TypeOf(body).Elem()
		for i := range t.NumField() {
			name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
			if name == "" || name == "-" {
				continue
			}
			if p, ok := properties[name]; ok {
				if p.Description == "" || strings.HasPrefix(p.Description, "of ") {
					p.Description += ", " + body.Kind()
				}
				continue
			}
			p := &property{Description: "of " + body.Kind()}
			switch f := t.Field(i).Type; {
			case f == reflect.TypeFor[journal.Num]():
				p.Type = "number"
			case f == reflect.TypeFor[journal.Wheels](), f == reflect.TypeFor[[]journal.Num]():
				p.Type, p.Items = "array", number
			case f.Kind() == reflect.String:
				p.Type = "string"
			case f.Kind() == reflect.Int:
				p.Type = "integer"
			case f.Kind() == reflect.Bool:
				p.Type = "boolean"
			case f == reflect.TypeFor[[]journal.Finding]():
				p.Type, p.Items = "array", &property{Type: "string"}
			}
			properties[name] = p
		}
	}
	properties["kind"].Description = strings.Join(kinds, ", ")
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(map[string]any{
		"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Event", "type": "object",
		"required": []string{"t", "kind"}, "properties": properties,
	}); err != nil {
		panic(err) // maps of texts can always be written
	}
	return b.Bytes()
}

// writeHead writes what a recording knows about itself.
func writeHead(w *mcap.Writer, head Head) error {
	if err := w.WriteHeader(&mcap.Header{Profile: profile}); err != nil {
		return err
	}
	if n := len(head.Units); n > 0 && n != len(head.Channels) {
		return errors.New("a recording needs a unit for every channel or none")
	}
	channels := map[string]string{"names": strings.Join(head.Channels, "\n")}
	if len(head.Units) > 0 {
		channels["units"] = strings.Join(head.Units, "\n")
	}
	for _, m := range []*mcap.Metadata{
		{Name: "session", Metadata: map[string]string{
			"id": head.Session, "started": head.Started, "program": head.Program, "files": strconv.Itoa(len(head.Files)),
		}},
		{Name: "channels", Metadata: channels},
	} {
		if err := w.WriteMetadata(m); err != nil {
			return err
		}
	}
	for _, file := range head.Files {
		if len(file.Data) > maxAttachment {
			return fmt.Errorf("%s/%s has %d bytes: a file kept in a recording has at most %d", file.Kind, file.Name,
				len(file.Data), maxAttachment)
		}
		if err := w.WriteAttachment(&mcap.Attachment{
			Name: file.Kind + "/" + file.Name, MediaType: "application/octet-stream",
			DataSize: uint64(len(file.Data)), Data: bytes.NewReader(file.Data),
		}); err != nil {
			return err
		}
	}
	return nil
}
