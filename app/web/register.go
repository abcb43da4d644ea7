package web

import (
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/sse"
)

// register lists the calls of the API.
func (s *Server) register() {
	call(s, http.MethodGet, "/workspace", "workspace", "The workspace", s.workspace)
	call(s, http.MethodGet, "/enquiries", "list-enquiries", "All enquiries with how each is answered", s.enquiries)
	call(s, http.MethodPost, "/enquiries", "create-enquiry", "A new enquiry", s.postEnquiry)
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
	call(s, http.MethodPost, "/jobs", "start-job", "Start long work", s.startJob)
	call(s, http.MethodGet, "/parts", "list-parts", "The catalogue", s.parts)
	call(s, http.MethodGet, "/parts/{id}", "part", "One part", s.part)
	call(s, http.MethodGet, "/jobs", "list-jobs", "Long work, newest first, without results", s.jobList)
	call(s, http.MethodGet, "/jobs/{id}", "job", "One job with its result", s.jobGet)
	call(s, http.MethodDelete, "/jobs/{id}", "remove-job", "Cancel a job, or forget one that has ended", s.jobRemove)
	sse.Register(s.api, huma.Operation{OperationID: "events", Method: http.MethodGet, Path: "/events", Summary: "What happens: answers, jobs, files changed on disk"},
		map[string]any{"answer": Answered{}, "working": Working{}, "files": FileChanged{}, "job": Job{}, "alive": Alive{}}, s.stream)
}
