package search

import (
	"context"
	"errors"
)

var errNotYet = errors.New("search: not built yet")

// Best returns the k chains of least weighted sum that keep the limits.
func Best(ctx context.Context, p Problem, w Weights, k int, s Settings) (Ranking, error) {
	return Ranking{}, errNotYet
}

// Nearest returns the k chains of least violation and how far each limit's criterion can be brought down.
func Nearest(ctx context.Context, p Problem, k int, s Settings) (Misses, error) {
	return Misses{}, errNotYet
}
