package workbench

import (
	"os"
	"strconv"
	"time"
)

// Made is the date on what is written for people: now, or SOURCE_DATE_EPOCH, so that
// the same folder gives the same files bit for bit (reproducible-builds.org,
// "SOURCE_DATE_EPOCH specification").
func Made() time.Time {
	if s, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64); err == nil {
		return time.Unix(s, 0).UTC()
	}
	return time.Now()
}
