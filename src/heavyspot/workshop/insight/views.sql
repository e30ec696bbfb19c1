-- What questions of one's own may be asked of.
create or replace view pieces as select * from facts;
create or replace view runs as select id, piece_id, number, made_at, operator, rig, verdict, ratio,
  case when recording like '%.curve' then 'table' else 'recording' end as came_as from raw_runs;
create or replace view cuts as select id, piece_id, after_run, plane, angle_deg, mass_mg, unbalance_gmm, made_at, operator
  from raw_cuts where kind = 'made' and unbalance_gmm > 0
  and id not in (select replaces from raw_cuts where replaces is not null);
create or replace view parts as select piece_id, made_at, part, supplier, lot from raw_told where kind = 'parts';
create or replace view claims as select piece_id, made_at, kind from raw_told where kind in ('claim', 'returned');
