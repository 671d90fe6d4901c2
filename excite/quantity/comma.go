package quantity

import (
	"fmt"
	"regexp"
	"strings"
)

var (
	commaBetween = regexp.MustCompile(`(\d),(\d+)`)
	// A whole part that could be thousands, three digits, and neither a prefix, a unit nor
	// a percent sign after them.
	thousands = regexp.MustCompile(`(?:^|[^\d.,])[1-9]\d{0,2}(?:,\d{3})+(?:\s|$)`)
	// A tolerance beside a plain number: "100,1%".
	plainTolerance = regexp.MustCompile(`^\s*\d+,\d+\s*%\s*$`)
)

// WithPoint is a text of numbers as somebody types it whose language has a decimal comma,
// or who copies a printed minus sign: "4,7k 0,5%" is "4.7k 0.5%", "−12,5" is "-12.5". A
// comma that is not a decimal one stays: "470p, 1%", and "100,1%", which is 100 with its
// tolerance. The error is that of a text which can be read in two ways: "1,000".
func WithPoint(text string) (string, error) {
	text = strings.ReplaceAll(text, "−", "-")
	if plainTolerance.MatchString(text) {
		return text, nil
	}
	if number := strings.TrimSpace(thousands.FindString(text)); number != "" {
		return "", fmt.Errorf("%s can mean thousands or decimals: write %s or %s", number,
			strings.ReplaceAll(number, ",", ""), strings.Replace(number, ",", ".", 1))
	}
	return commaBetween.ReplaceAllString(text, "$1.$2"), nil
}
