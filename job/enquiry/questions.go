package enquiry

// Question is something the enquiry leaves open, with what its answer would
// change.
type Question struct {
	Field   string // the key in the enquiry's file: "environment.max_temperature"
	Text    string
	Changes string
}
