package web

import (
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
)

// recordRoutes are the records, their search and their proofs.
func (s *Server) recordRoutes() []route {
	return []route{
		get("/today/due", access.SeeBoard, "due", "", s.dueList),
		recordsSection.page("/records", access.SeeRecords, "records", "Search", s.searchRecords),
		recordsSection.page("/records/ledger", access.SeeRecords, "ledger", "Ledger", s.ledger),
		post("/records/ledger", desk.ToCompareLedger, s.compareLedger),
		get("/records/ledger/checkpoint.txt", access.SeeRecords, "", "", s.checkpointFile),
		get("/records/ledger/key.txt", access.SeeRecords, "", "", s.keyFile),
		get("/records/ledger/verify.sh", access.SeeRecords, "", "", s.verifyFile),
		get("/records/ledger/ledger.zip", access.Export, "", "", s.ledgerFile),
		recordsSection.page("/records/{id}", access.SeeScope, "record", "", s.record),
		get("/records/{id}/record.json", access.SeeRecords, "", "", s.recordFile),
		get("/records/{id}/record.tlog-proof", access.SeeRecords, "", "", s.proofFile),
		post("/records/{id}/void", desk.ToVoid, s.voidRecord),
		post("/records/{id}/correct", desk.ToRead, s.correctReading),
	}
}
