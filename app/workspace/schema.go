package workspace

import (
	"embed"
	"fmt"
	"strings"
)

// The schemas are made from the very types that decode fills; a test fails when
// one is stale, and rewrites them with -update.
//
//go:embed schema/*.json
var schemas embed.FS

// SchemaKinds lists the kinds of files that have a schema, in the order in
// which one meets them.
func SchemaKinds() []string {
	return []string{"enquiry", "catalogue", "chain", "stackup", "launch", "body", "section", "field"}
}

// Schema returns the JSON Schema (2020-12) of a kind of file: its keys, which
// words each takes, and how quantities are written.
func Schema(kind string) ([]byte, error) {
	data, err := schemas.ReadFile("schema/" + kind + ".json")
	if err != nil {
		return nil, fmt.Errorf("no schema for %q; there are %s", kind, strings.Join(SchemaKinds(), ", "))
	}
	return data, nil
}
