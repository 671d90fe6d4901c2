package atomicfile

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
)

// Sum is the checksum of data as Replace has it: SHA-256, hexadecimal.
func Sum(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// SumOf is Sum for all that r holds.
func SumOf(r io.Reader) (string, error) {
	h := sha256.New()
	_, err := io.Copy(h, r)
	return hex.EncodeToString(h.Sum(nil)), err
}
