package assembly

import (
	"bytes"
	"context"
	"slices"
	"time"

	"earshot/rules"
)

// rulesEvery is how often the user's rules files are looked at. Reading a few small files once a second costs
// less than watching folders, and works on every file system.
const rulesEvery = time.Second

// watchRules hands on all rules files each time one of them has changed, appeared or gone, until ctx is done. What
// cannot be read changes nothing: trouble is told of it once, and nil when all can be read again.
func watchRules(
	ctx context.Context, every time.Duration, read func() ([]rules.Source, error), changed func([]rules.Source) error,
	trouble func(error), tell func(string),
) {
	before, _ := read() // what is in force was read a moment ago; the first difference from now on counts
	var last string
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	for {
		select {
		case <-ticker.C:
		case <-ctx.Done():
			return
		}
		now, err := read()
		if err != nil {
			if err.Error() != last {
				last = err.Error()
				trouble(err)
			}
			continue
		}
		if last != "" {
			last = ""
			trouble(nil)
		}
		if slices.EqualFunc(before, now, sameSource) {
			continue
		}
		before = now
		if err := changed(now); err != nil {
			tell("rules: " + err.Error())
			return
		}
		tell("rules: read again")
	}
}

func sameSource(a, b rules.Source) bool { return a.Name == b.Name && bytes.Equal(a.Data, b.Data) }
