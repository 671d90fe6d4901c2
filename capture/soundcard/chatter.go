//go:build cgo

package soundcard

/*
#ifdef __linux__
#define _GNU_SOURCE
#include <stdio.h>
#endif
#ifdef __GLIBC__
#include <pthread.h>
#include <unistd.h>

// The last of what was written; total counts from the beginning.
static char kept[1 << 14];
static unsigned long long total;
static int pass_through;
static pthread_mutex_t guard = PTHREAD_MUTEX_INITIALIZER;
static FILE *catcher, *terminal;

static ssize_t keep(void *cookie, const char *text, size_t n) {
	pthread_mutex_lock(&guard);
	for (size_t i = 0; i < n; i++)
		kept[total++ % sizeof kept] = text[i];
	int pass = pass_through;
	pthread_mutex_unlock(&guard);
	if (pass && write(STDERR_FILENO, text, n) < 0)
		return n; // nowhere to tell
	return n;
}

// chatter_catch makes stderr a stream that keeps its text. The stream lives as
// long as the process: another thread may be writing to it at any time.
static void chatter_catch(int pass) {
	pthread_mutex_lock(&guard);
	pass_through = pass;
	pthread_mutex_unlock(&guard);
	if (!catcher) {
		cookie_io_functions_t io = {.write = keep};
		catcher = fopencookie(NULL, "w", io);
		if (!catcher)
			return;
		setvbuf(catcher, NULL, _IONBF, 0);
		terminal = stderr;
	}
	stderr = catcher;
}

static void chatter_release(void) {
	if (terminal)
		stderr = terminal;
}

static unsigned long long chatter_total(void) {
	pthread_mutex_lock(&guard);
	unsigned long long t = total;
	pthread_mutex_unlock(&guard);
	return t;
}

// chatter_since copies what came after mark, at most the last size bytes.
static int chatter_since(unsigned long long mark, char *out, int size) {
	pthread_mutex_lock(&guard);
	unsigned long long from = mark;
	if (total - from > sizeof kept)
		from = total - sizeof kept;
	if (total - from > (unsigned long long)size)
		from = total - size;
	int n = 0;
	while (from < total)
		out[n++] = kept[from++ % sizeof kept];
	pthread_mutex_unlock(&guard);
	return n;
}
#else
static void chatter_catch(int pass) {}
static void chatter_release(void) {}
static unsigned long long chatter_total(void) { return 0; }
static int chatter_since(unsigned long long mark, char *out, int size) { return 0; }
#endif
*/
import "C"

import (
	"strings"
	"unsafe"
)

// chatter is the text that ALSA, JACK and PortAudio write to C's stderr.
//
// In the GNU C library stderr is a variable that may be set (The GNU C Library
// Reference Manual, "Standard Streams"). While PortAudio is in use it is a
// stream that keeps the last 16 KiB. Unlike a redirection of file descriptor 2
// this leaves the program's own messages alone, and so may last as long as a
// recording does. With other C libraries the text goes where it always went.
type chatter uint64

// catchChatter begins to keep the text; with pass it is also shown.
func catchChatter(pass bool) {
	var p C.int
	if pass {
		p = 1
	}
	C.chatter_catch(p)
}

// releaseChatter gives the C libraries their terminal back.
func releaseChatter() { C.chatter_release() }

// markChatter is the present end of the text.
func markChatter() chatter { return chatter(C.chatter_total()) }

// lines is at most the last n different lines written since the mark, oldest
// first.
func (mark chatter) lines(n int) []string {
	buf := make([]byte, 4096)
	size := C.chatter_since(C.ulonglong(mark), (*C.char)(unsafe.Pointer(&buf[0])), C.int(len(buf)))
	return lastLines(string(buf[:size]), n)
}

// lastLines is at most the last n different non-empty lines of text.
func lastLines(text string, n int) []string {
	all := strings.Split(text, "\n")
	var last []string
	seen := map[string]bool{}
	for i := len(all) - 1; i >= 0 && len(last) < n; i-- {
		line := strings.TrimSpace(all[i])
		if line == "" || seen[line] {
			continue
		}
		seen[line] = true
		last = append([]string{line}, last...)
	}
	return last
}
