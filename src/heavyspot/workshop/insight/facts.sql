-- One row a piece: what its runs, cuts, parts and claims come to.
create or replace table facts as
with
  spun as (
    select piece_id, count(*) as runs, count(*) filter (recording like '%.curve') as tables,
      arg_min(case when recording like '%.curve' then 'table' else 'recording' end, number) as first_as, min(number) as first_number, arg_min(ratio, number) as first_ratio,
      arg_min(verdict, number) as first_verdict, arg_min(operator, number) as operator, arg_min(rig, number) as rig,
      date_diff('second', min(made_at), max(made_at)) / 60.0 as minutes, max(made_at) as left_at
    from raw_runs group by piece_id),
  standing as (
    select * from raw_cuts where unbalance_gmm > 0
      and id not in (select replaces from raw_cuts where replaces is not null)),
  ground as (
    select piece_id, count(*) as cuts, sum(mass_mg) as mass_mg from standing where kind = 'made' group by piece_id),
  came as (
    select piece_id, arg_max(supplier, id) as supplier, arg_max(lot, id) as lot
    from raw_told where kind = 'parts' and supplier <> '' group by piece_id),
  claimed as (
    select piece_id, min(made_at) as claimed_at from raw_told where kind in ('claim', 'returned') group by piece_id)
select i.piece_id, i.serial, i.model, i.customer, i.invoice, i.day, s.operator, s.rig,
  coalesce(c.supplier, '') as supplier, coalesce(c.lot, '') as lot, coalesce(s.runs, 0) as runs,
  coalesce(s.tables, 0) as tables, s.first_as,
  coalesce(g.cuts, 0) as cuts, coalesce(g.mass_mg, 0) as mass_mg, s.minutes, s.first_ratio, s.first_verdict,
  case when s.runs > 0 then i.ratio end as last_ratio, i.verdict, s.left_at,
  case when q.claimed_at > s.left_at then date_diff('day', s.left_at, q.claimed_at) end as claim_days
from raw_pieces i left join spun s using (piece_id) left join ground g using (piece_id)
  left join came c using (piece_id) left join claimed q using (piece_id);

-- One row an advice of cuts: whether it was kept (each asked cut made in its plane, within 15 degrees and a quarter of
-- its mass), and what the next spin showed.
create or replace table advice as
with
  made as (
    select * from raw_cuts where kind = 'made' and unbalance_gmm > 0
      and id not in (select replaces from raw_cuts where replaces is not null)),
  asked as (
    select a.piece_id, a.after_run, bool_and(exists (
        select 1 from made m where m.piece_id = a.piece_id and m.after_run = a.after_run and m.plane = a.plane
          and abs(m.mass_mg / a.mass_mg - 1) <= 0.25
          and least((m.angle_deg - a.angle_deg + 720) % 360, (a.angle_deg - m.angle_deg + 720) % 360) <= 15)) as kept
    from raw_cuts a where a.kind = 'asked' and a.mass_mg > 0 group by 1, 2)
select asked.piece_id, asked.after_run, asked.kept, b.ratio as before, n.ratio as after, n.verdict
from asked
  join raw_runs b on b.piece_id = asked.piece_id and b.number = asked.after_run
  join raw_runs n on n.piece_id = asked.piece_id and n.number = asked.after_run + 1
where exists (select 1 from made m where m.piece_id = asked.piece_id and m.after_run = asked.after_run);
