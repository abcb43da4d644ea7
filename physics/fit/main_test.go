package fit

import (
	"testing"

	"linewright/internal/refcheck"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-fit") }
