package enquiry

// Question is something the enquiry leaves open, with what its answer would
// change.
type Question struct {
	Field   string // the key in the enquiry's file: "environment.max_temperature"
	Text    string
	Changes string
}

// Contradiction is two statements of the enquiry that cannot both hold. It is
// reported, never repaired.
type Contradiction struct {
	Fields []string
	Text   string // with the numbers
	Help   string
}

// Questions returns what the enquiry leaves open.
func (e Enquiry) Questions() []Question { return nil }

// Contradictions returns where the enquiry contradicts itself.
func (e Enquiry) Contradictions() []Contradiction { return nil }
