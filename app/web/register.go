package web

import (
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/sse"

	"linewright/app/wire"
)

// register lists the calls of the API.
func (s *Server) register() {
	call(s, http.MethodGet, "/workspace", "workspace", "The workspace", s.workspace)
	call(s, http.MethodGet, "/enquiries", "list-enquiries", "All enquiries with how each is answered", s.enquiries)
	call(s, http.MethodPost, "/enquiries", "create-enquiry", "A new enquiry", s.postEnquiry)
	call(s, http.MethodGet, "/forms/enquiry", "enquiry-form", "The values of an enquiry, grouped as a form asks for them", s.enquiryForm)
	call(s, http.MethodGet, "/enquiries/{id}", "enquiry", "One enquiry: its text and its fields", s.enquiry)
	call(s, http.MethodPut, "/enquiries/{id}", "change-enquiry", "Change an enquiry's file, comments kept", s.putEnquiry)
	call(s, http.MethodGet, "/enquiries/{id}/answer", "answer", "The full answer", s.answer)
	call(s, http.MethodPost, "/answer", "quick-answer", "The answer to an edited enquiry that is not saved", s.quickAnswer)
	call(s, http.MethodGet, "/enquiries/{id}/proposals/{rank}", "proposal", "One proposal in full", s.proposal)
	call(s, http.MethodGet, "/enquiries/{id}/misses/{rank}", "miss", "One near miss in full", s.miss)
	call(s, http.MethodGet, "/enquiries/{id}/proposals/{rank}/alternatives", "alternatives", "What could stand in a piece's place", s.alternatives)
	call(s, http.MethodPost, "/predict", "predict", "A chain in full, for swaps and other lengths", s.predict)
	call(s, http.MethodPost, "/alternatives", "find-alternatives", "What could stand in the place of a piece of any chain", s.findAlternatives)
	call(s, http.MethodGet, "/chains", "list-chains", "The workspace's chains", s.chains)
	call(s, http.MethodPost, "/chains", "create-chain", "A new chain file", s.postChain)
	call(s, http.MethodGet, "/chains/{id}", "chain", "One chain: its text and its pieces", s.chain)
	call(s, http.MethodPut, "/chains/{id}", "change-chain", "Change a chain's file, comments kept", s.putChain)
	call(s, http.MethodDelete, "/chains/{id}", "remove-chain", "Take a chain's file away, if it is still as it was seen", s.deleteChain)
	call(s, http.MethodPost, "/jobs", "start-job", "Start long work", s.startJob)
	call(s, http.MethodGet, "/parts", "list-parts", "The catalogue", s.parts)
	call(s, http.MethodGet, "/parts/{id}", "part", "One part", s.part)
	call(s, http.MethodGet, "/line", "line-forms", "The fields of each kind of line", s.lineForms)
	call(s, http.MethodPost, "/line", "line", "One uniform line, or the dimension that gives an impedance", s.line)
	call(s, http.MethodGet, "/solve", "list-solver-files", "The workspace's cross-sections, bodies of revolution and structures", s.solverFiles)
	call(s, http.MethodPost, "/solve/section", "solve-section", "A cross-section with its field", s.solveSection)
	call(s, http.MethodPost, "/solve/body", "solve-body", "A coaxial body of revolution by mode matching", s.solveBody)
	call(s, http.MethodPost, "/solve/field/plan", "plan-field", "What a field solve will take; POST /jobs starts it", s.planField)
	call(s, http.MethodGet, "/jobs", "list-jobs", "Long work, newest first, without results", s.jobList)
	call(s, http.MethodGet, "/jobs/{id}", "job", "One job with its result", s.jobGet)
	call(s, http.MethodDelete, "/jobs/{id}", "remove-job", "Cancel a job, or forget one that has ended", s.jobRemove)
	sse.Register(s.api, huma.Operation{OperationID: "events", Method: http.MethodGet, Path: "/events", Summary: "What happens: answers, jobs, files changed on disk"},
		map[string]any{"answer": Answered{}, "working": Working{}, "files": FileChanged{}, "job": Job{}, "alive": Alive{}}, s.stream)
	s.mux.HandleFunc("POST "+Prefix+"/measured", s.measured)
	s.describeMeasured()
}

// describeMeasured puts the one call that streams its body into the description.
func (s *Server) describeMeasured() {
	schemas := s.api.OpenAPI().Components.Schemas
	s.api.OpenAPI().AddOperation(&huma.Operation{OperationID: "measured", Method: http.MethodPost, Path: "/measured", Summary: "Judge measured Touchstone files: quality, limits, prediction, place along the chain; many as a set and a lot",
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"multipart/form-data": {Schema: &huma.Schema{Type: huma.TypeObject, Properties: termSchema()}}}},
		Responses: map[string]*huma.Response{
			"200":     {Description: "What is in each file", Content: map[string]*huma.MediaType{"application/json": {Schema: schemas.Schema(reflect.TypeFor[measuredDoc](), true, "Measured")}}},
			"default": {Description: "What is wrong, fault by fault", Content: map[string]*huma.MediaType{"application/json": {Schema: schemas.Schema(reflect.TypeFor[wire.Errors](), true, "Errors")}}}}})
}
