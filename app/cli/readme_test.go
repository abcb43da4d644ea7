package cli

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"linewright/app/demo"
)

// The README's tour shows what the program prints: every line of a block but
// "…" stands in the command's output, in that order.
func TestReadmeTour(t *testing.T) {
	data, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if err := os.CopyFS(dir+"/demo", demo.Files()); err != nil {
		t.Fatal(err)
	}
	t.Chdir(dir)
	blocks := 0
	for i, block := range strings.Split(string(data), "```") {
		command, want, ok := strings.Cut(strings.TrimPrefix(block, "\n"), "\n")
		if i%2 == 0 || !ok || !strings.HasPrefix(command, "$ linewright ") {
			continue
		}
		blocks++
		var out, errOut bytes.Buffer
		run(context.Background(), strings.Fields(command)[2:], nil, &out, &errOut)
		got := strings.Split(out.String(), "\n")
		at := 0
		for _, line := range strings.Split(strings.TrimSpace(want), "\n") {
			if line == "…" || line == "" {
				continue
			}
			found := at
			for found < len(got) && strings.TrimRight(got[found], " ") != line {
				found++
			}
			if found == len(got) {
				t.Errorf("%s\nno longer prints %q (after line %d)\n%s", command, line, at, errOut.String())
				break
			}
			at = found + 1
		}
	}
	if blocks < 4 {
		t.Errorf("%d blocks of the tour were run, want 4", blocks)
	}
}
