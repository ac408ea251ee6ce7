module earshot

go 1.26.8

require (
	github.com/adrianmo/go-nmea v1.10.0
	github.com/foxglove/mcap/go/mcap v1.7.0
	github.com/go-json-experiment/json v1.27.2
	github.com/goccy/go-json v0.12.0
	github.com/gordonklaus/portaudio v0.0.0-20250206071425-98a94950218b
	github.com/hajimehoshi/oto/v2 v2.4.3
	github.com/jfreymuth/pulse v0.1.1
	github.com/klauspost/compress v1.20.4
	github.com/mewkiz/flac v1.0.14
	github.com/parquet-go/parquet-go v0.25.1
	github.com/robotn/gohook v0.42.3
	github.com/rogpeppe/go-internal v1.16.0
	github.com/spf13/cobra v1.10.2
	github.com/spf13/pflag v1.0.10
	github.com/spf13/viper v1.21.0
	github.com/stretchr/testify v1.12.1
	go.bug.st/serial v1.6.2
	go.einride.tech/can v0.17.0
	go.yaml.in/yaml/v3 v3.0.6
	golang.org/x/image v0.30.0
	golang.org/x/sync v0.25.0
	golang.org/x/sys v0.49.0
	golang.org/x/tools v0.52.0
	gonum.org/v1/gonum v0.17.0
	pgregory.net/rapid v1.3.0
)

require (
	github.com/andybalholm/brotli v1.1.0 // indirect
	github.com/creack/goselect v0.1.2 // indirect
	github.com/ebitengine/purego v0.4.1 // indirect
	github.com/fsnotify/fsnotify v1.9.0 // indirect
	github.com/go-viper/mapstructure/v2 v2.4.0 // indirect
	github.com/google/uuid v1.6.0 // indirect
	github.com/icza/bitio v1.1.0 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/mewkiz/pkg v0.0.0-20250417130911-3f050ff8c56d // indirect
	github.com/mewpkg/term v0.0.0-20241026122259-37a80af23985 // indirect
	github.com/pelletier/go-toml/v2 v2.2.4 // indirect
	github.com/pierrec/lz4/v4 v4.1.21 // indirect
	github.com/sagikazarmark/locafero v0.11.0 // indirect
	github.com/sourcegraph/conc v0.3.1-0.20240121214520-5f936abd7ae8 // indirect
	github.com/spf13/afero v1.15.0 // indirect
	github.com/spf13/cast v1.10.0 // indirect
	github.com/subosito/gotenv v1.6.0 // indirect
	github.com/vcaesar/keycode v0.10.1 // indirect
	golang.org/x/text v0.28.0 // indirect
)
