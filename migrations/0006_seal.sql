-- Seals of jobs, and the numbers that the server draws so that "not made before" can be shown.

alter table job_rows drop constraint job_rows_state_known;
alter table job_rows add constraint job_rows_state_known check (state in ('planned', 'with_crew', 'on_site', 'paused',
  'for_review', 'returned', 'passed', 'sealed', 'withdrawn'));

-- One row a seal. The pack itself lies in the photo store under `seals/firm/object`; its manifest and who asked for it
-- stand in the job file too. No update and no delete: a seal is for good.
create table seals (
  firm_id uuid not null,
  job_id uuid not null,
  number integer not null constraint seals_number_from_one check (number >= 1),
  -- The entry that tells of it.
  entry_id uuid not null,
  -- Last position inside.
  up_to bigint not null constraint seals_up_to_from_one check (up_to >= 1),
  object uuid not null,
  pack_bytes bigint not null constraint seals_pack_size check (pack_bytes > 0),
  pack_sha256 bytea not null constraint seals_pack_hash_length check (length(pack_sha256) = 32),
  manifest bytea not null constraint seals_manifest_hash_length check (length(manifest) = 32),
  key bytea not null constraint seals_key_hash_length check (length(key) = 32),
  by_person uuid not null,
  sealed_us bigint not null,
  constraint seals_pkey primary key (firm_id, job_id, number),
  constraint seals_job foreign key (firm_id, job_id) references jobs (firm_id, job_id),
  constraint seals_entry foreign key (firm_id, entry_id) references entries (firm_id, entry_id),
  constraint seals_person foreign key (firm_id, by_person) references people (firm_id, id)
);
call protect_tenant_table('seals');
grant select, insert on seals to witnessmark_app;

-- One number a firm and hour. Devices get it with what they pull and write it into the job file.
create table drawn_numbers (
  firm_id uuid not null constraint drawn_numbers_firm references firms,
  -- Whole hours since 1970 UTC.
  hour bigint not null,
  number bytea not null constraint drawn_numbers_length check (length(number) = 32),
  drawn_us bigint not null,
  constraint drawn_numbers_pkey primary key (firm_id, hour),
  constraint drawn_numbers_once unique (firm_id, number)
);
call protect_tenant_table('drawn_numbers');
grant select, insert on drawn_numbers to witnessmark_app;
