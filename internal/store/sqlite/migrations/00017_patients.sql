-- +goose Up
-- What a commitment in a record stands for: a patient's number, sealed with a key that is kept apart (base/secret)
-- together with the salt of the commitment. finder is the keyed hash by which the same patient is found again, NULL once the
-- number was erased: then the sealed value is a row of zeros, as long as it was, overwritten where it stood, since a
-- deleted row lets others move, and what moves leaves copies behind. The table before, patient, held the numbers as
-- they are; sealPatients seals what is left in it, and drops it.
CREATE TABLE patient_number (
  place      INTEGER PRIMARY KEY,
  site       TEXT NOT NULL,
  commitment TEXT NOT NULL,
  finder     BLOB,
  sealed     BLOB NOT NULL
) STRICT;
CREATE UNIQUE INDEX patient_number_commitment ON patient_number (site, commitment);
CREATE UNIQUE INDEX patient_number_finder ON patient_number (site, finder) WHERE finder IS NOT NULL;
