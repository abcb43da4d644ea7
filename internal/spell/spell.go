// Package spell finds the known word that a misspelt one most likely means, and
// writes the plural after a number.
package spell

import "strings"

const longest = 40 // letters of a word worth correcting

// Distance returns the Levenshtein distance of two words: the least number of
// letters to insert, drop or change. Source: V. I. Levenshtein, 1966; the
// dynamic programme of Wagner and Fischer, 1974 (both from memory).
func Distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > longest || len(y) > longest {
		return longest
	}
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		diag := row[0]
		row[0] = i + 1
		for j := range y {
			cost := diag
			if x[i] != y[j] {
				cost = 1 + min(diag, row[j], row[j+1])
			}
			diag, row[j+1] = row[j+1], cost
		}
	}
	return row[len(y)]
}

// Nearest returns the first known word that is word in other case, else the
// first at most edits letters away and not further than word is long, else the
// first that begins with word or that word begins with; empty when none does.
func Nearest(word string, known []string, edits int) string {
	for _, k := range known {
		if strings.EqualFold(k, word) {
			return k
		}
	}
	for d := 1; d <= edits; d++ {
		for _, k := range known {
			if n := Distance(strings.ToLower(word), strings.ToLower(k)); n == d && n < len([]rune(word)) {
				return k
			}
		}
	}
	if len(word) >= 4 {
		for _, k := range known {
			if strings.HasPrefix(k, word) || strings.HasPrefix(word, k) && len(k) >= 4 {
				return k
			}
		}
	}
	return ""
}
