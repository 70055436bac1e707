-- Who has a part in a job: its crew, and whoever wrote in its file. A pull asks it of every job under way, and looking into the
-- log for each of them grew with what the firm has ever recorded.
--
-- Null: the row was written by a server of before, and its job is projected once more by the next reader.
alter table job_rows add column people uuid[];
update job_rows r set people = array(
  select unnest(r.crew) union select e.author_id from entries e where e.firm_id = r.firm_id and e.job_id = r.job_id
);
create index job_rows_without_people on job_rows (firm_id, job_id) where people is null;

-- What of a firm's jobs, whose number only grows, goes to devices by itself: those under way, and those that changed lately.
create index job_rows_under_way on job_rows (firm_id, job_id) where state not in ('passed', 'sealed', 'withdrawn');
create index job_rows_by_change on job_rows (firm_id, updated_us);
