// Package words holds what people read and hear, one table a language, selected by its name. Everywhere else the same things
// are codes, so that a second language is one more table here.
//
// The package is pure, and a Language is never changed once it is made.
package words

import (
	"strings"

	"earshot/assistant/journal"
)

// A Language is the words of one language.
type Language struct {
	Name     string // as a configuration selects it
	findings map[journal.Finding]string
}

// Finding words a finding for a reader: "mid-corner understeer". One that this language does not know is shown as its code.
func (l *Language) Finding(f journal.Finding) string {
	if text, ok := l.findings[f]; ok {
		return text
	}
	return strings.ReplaceAll(f.String(), "_", " ")
}
