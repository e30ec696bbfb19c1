-- The ledger's narrow columns, as they come.
create or replace table raw_runs (
  id VARCHAR, piece_id VARCHAR, number INTEGER, made_at TIMESTAMP, operator VARCHAR, rig VARCHAR, verdict VARCHAR,
  ratio DOUBLE, recording VARCHAR);
create or replace table raw_cuts (
  id VARCHAR, piece_id VARCHAR, after_run INTEGER, kind VARCHAR, plane VARCHAR, angle_deg DOUBLE, mass_mg DOUBLE,
  unbalance_gmm DOUBLE, replaces VARCHAR, made_at TIMESTAMP, operator VARCHAR);
create or replace table raw_told (
  id VARCHAR, piece_id VARCHAR, made_at TIMESTAMP, kind VARCHAR, part VARCHAR, supplier VARCHAR, lot VARCHAR);
create or replace table raw_pieces (
  piece_id VARCHAR, serial VARCHAR, model VARCHAR, customer VARCHAR, invoice VARCHAR, number INTEGER, verdict VARCHAR,
  ratio DOUBLE, day DATE);
