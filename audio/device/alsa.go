//go:build cgo && linux

package device

/*
#cgo pkg-config: alsa
#include <alsa/asoundlib.h>

static void silent(const char *file, int line, const char *function, int err, const char *format, ...) {}
static void quiet(void) { snd_lib_error_set_handler(silent); }
*/
import "C"

// quietALSA drops the lines that the library would write when a device cannot be opened: pages of them, in which ours
// would be lost. What went wrong is in the error of whoever opens.
func quietALSA() { C.quiet() }
