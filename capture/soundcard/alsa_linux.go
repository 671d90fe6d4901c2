//go:build cgo

package soundcard

/*
#cgo LDFLAGS: -ldl
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stddef.h>

// alsa_lacks_default is 1 if ALSA is in the process and its configuration names
// neither a "default" nor a "dmix" device. ALSA comes with PortAudio, so its
// functions are looked up rather than linked: a PortAudio without it is fine.
static int alsa_lacks_default(void) {
	int (*update)(void) = (int (*)(void))dlsym(RTLD_DEFAULT, "snd_config_update");
	int (*search)(void *, const char *, void **) =
		(int (*)(void *, const char *, void **))dlsym(RTLD_DEFAULT, "snd_config_search");
	void **top = (void **)dlsym(RTLD_DEFAULT, "snd_config");
	if (!update || !search || !top)
		return 0;
	update();
	void *node;
	return !*top || (search(*top, "pcm.default", &node) < 0 && search(*top, "pcm.dmix", &node) < 0);
}
*/
import "C"

import "errors"

// checkALSA refuses a configuration of ALSA at which PortAudio (19.6, function
// BuildDeviceList) ends the process by a failed assertion: one without a
// default device, as on a system where the configuration is missing.
func checkALSA() error {
	if C.alsa_lacks_default() == 0 {
		return nil
	}
	return errors.New("ALSA's configuration is missing or has no default device: install it " +
		"(Debian: libasound2-data, or libasound2-plugins for PulseAudio) and see that ALSA_CONFIG_PATH, if set, " +
		"names a whole one")
}
