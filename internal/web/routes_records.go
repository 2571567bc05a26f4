package web

import (
	"net/http"

	"rinsate/internal/domain/access"
	"rinsate/internal/web/kit"
)

// recordRoutes are the records, their search and their proofs.
func (s *Server) recordRoutes() []kit.Route {
	return []kit.Route{
		kit.Get("/today/due", access.SeeBoard, "due", "", s.dueList),
		recordsSection.Page("/records", access.SeeRecords, "records", "Search", s.searchRecords),
		recordsSection.Page("/records/ledger", access.SeeRecords, "ledger", "Ledger", s.ledger),
		{Method: http.MethodPost, Path: "/records/ledger", Need: access.SeeRecords, Handle: s.compareLedger},
		kit.Get("/records/ledger/checkpoint.txt", access.SeeRecords, "", "", s.checkpointFile),
		kit.Get("/records/ledger/key.txt", access.SeeRecords, "", "", s.keyFile),
		kit.Get("/records/ledger/verify.sh", access.SeeRecords, "", "", s.verifyFile),
		kit.Get("/records/ledger/ledger.zip", access.Export, "", "", s.ledgerFile),
		recordsSection.Page("/records/{id}", access.SeeScope, "record", "", s.record),
		kit.Get("/records/{id}/record.json", access.SeeRecords, "", "", s.recordFile),
		kit.Get("/records/{id}/record.tlog-proof", access.SeeRecords, "", "", s.proofFile),
		kit.Post("/records/{id}/void", access.RecordStep, s.voidRecord),
		kit.Post("/records/{id}/correct", access.RecordStep, s.correctReading),
	}
}
