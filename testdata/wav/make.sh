#!/bin/sh
# Makes the recordings of this folder with sox 14.4.2 and flac 1.4.2 (Debian 12).
# The eight frames are k/128, so that every format holds them exactly:
# left 0 64 -64 -128 127 1 -1 32, right the same backwards, each over 128.
set -e
cd "$(dirname "$0")"
python3 - > frames.f64 <<'PY'
import struct, sys
left = [0, 64, -64, -128, 127, 1, -1, 32]
for l, r in zip(left, left[::-1]):
    sys.stdout.buffer.write(struct.pack("<dd", l / 128, r / 128))
PY
raw="-t raw -e floating-point -b 64 -r 48000 -c 2 frames.f64"
sox -D $raw -e unsigned-integer -b 8 pcm8.wav
for bits in 16 24 32; do
    sox -D $raw -e signed-integer -b $bits pcm$bits.wav
done
sox -D $raw -e floating-point -b 32 float32.wav
sox -D $raw -e floating-point -b 64 float64.wav
sox -D $raw -b 24 mono24.wav remix 1
sox -D $raw -b 16 four16.wav remix 1 2 2 1
# Neither end can be wound back: sox does not know the length.
cat frames.f64 | sox -D -t raw -e floating-point -b 64 -r 48000 -c 2 - -b 24 -t wav - 2>/dev/null | cat > piped24.wav
flac --totally-silent --no-padding -f -o pcm16.flac pcm16.wav
flac --totally-silent --no-padding -f -o pcm24.flac pcm24.wav
flac --totally-silent --no-padding -f -o mono24.flac mono24.wav
flac --totally-silent --no-padding -f -o pcm32.flac pcm32.wav
rm frames.f64
