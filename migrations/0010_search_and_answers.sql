-- What searches compare: the texts of a row in small letters without accents, as `domain` folds them. A database compares as its
-- locale does, and by no locale does "becu" find "Bécu".
--
-- Null: the row was written by a server of before, and its job is projected once more by the next reader.
alter table job_rows add column search text;
alter table unit_rows add column lot_search text;
create index unit_rows_by_lot_search on unit_rows (firm_id, lot_search) where lot_search is not null;
-- The text of a label as it was read may be longer than an index takes; what is searched is cut.
drop index unit_rows_by_lot;
create index job_rows_to_redo on job_rows (firm_id, job_id) where people is null or search is null;
drop index job_rows_without_people;

-- True: answers for the telephone are to be drawn for this job. That takes a slow hash for every place of it, so it is done
-- behind everybody's back.
alter table job_rows add column answers_wanted boolean not null default false;
create index job_rows_wanting_answers on job_rows (firm_id, day, job_id) where answers_wanted;
