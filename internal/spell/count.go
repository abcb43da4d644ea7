package spell

import (
	"fmt"
	"strings"
)

// Count puts a number before a noun: 1 line, 2 lines, 3 frequencies. It knows
// the plurals in -s, -ies and -es that regular nouns have.
func Count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	switch stem, y := strings.CutSuffix(noun, "y"); {
	case y && stem != "" && !strings.ContainsAny(stem[len(stem)-1:], "aeiou"):
		noun = stem + "ies"
	case strings.HasSuffix(noun, "s"), strings.HasSuffix(noun, "x"), strings.HasSuffix(noun, "ch"), strings.HasSuffix(noun, "sh"):
		noun += "es"
	default:
		noun += "s"
	}
	return fmt.Sprintf("%d %s", n, noun)
}
